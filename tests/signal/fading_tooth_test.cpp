// A wheel whose first tooth after the gap is low in some revolutions and gone in others, by the simulator's coil.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>

#include "kurbel/simulate/inductive_sensor.hpp"
#include "kurbel/stage/decoder.hpp"
#include "signal/waves.hpp"

namespace kurbel::test {
namespace {

simulate::InductiveWheel wheel(double first_height) {
    simulate::SensorSettings sensor;
    std::vector<simulate::InductiveWheel::Tooth> teeth;
    for (int i = 0; i < 58; ++i)
        teeth.push_back({i * kTurn / 60.0, 0.4 * kTurn / 60.0, i == 0 ? first_height : 1.0, 1.0});
    return {sensor, teeth, 30};
}

TEST(FadingTooth, LosesNoSyncAndMovesNoNeighbour) {
    // 1500 rpm with a swing of 4 % a turn, 100 kHz; the first tooth's height changes from turn to turn.
    const std::array<simulate::InductiveWheel, 3> wheels{wheel(0.5), wheel(0.3), wheel(0.0)};
    const double rate = 1e5;
    const double turn_s = 0.04;
    const int turns = 60;
    const auto angle_at = [&](double t) { return kTurn * (t / turn_s + 0.04 / kTurn * std::sin(kTurn * t / turn_s)); };
    // Which wheel a turn sees; it changes opposite the gap, where the first tooth is out of reach.
    const auto of_turn = [](long turn) { return static_cast<std::size_t>((turn * 7 + turn / 3) % 3); };
    Noise draw(11);
    std::vector<double> samples(static_cast<std::size_t>(turns * turn_s * rate));
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double t = static_cast<double>(i) / rate;
        const double angle = angle_at(t) + 0.2;
        const double speed = (angle_at(t + 1e-6) - angle_at(t - 1e-6)) / 2e-6;
        samples[i] = speed * wheels[of_turn(std::lround(angle / kTurn))].volts_at(angle) + 0.01 * draw();
    }
    const auto found = find(samples, settings_at(rate));
    EXPECT_EQ(found.report.flank, signal::Flank::falling);

    Config config;
    config.engine.cylinders = 1;
    config.engine.firing_order[0] = 1;
    const std::array<int, 2> absent{58, 59};
    ASSERT_TRUE(make_even_wheel(60, absent.data(), 2, config.crank_wheel).ok());
    Decoder decoder;
    decoder.configure(config);
    std::array<Tooth, kMaxTeethPerPush> out;
    int firsts = 0;
    int checked = 0;
    double worst = 0.0;
    const auto take = [&](int count) {
        for (int i = 0; i < count; ++i) {
            const Tooth& tooth = out[static_cast<std::size_t>(i)];
            const double angle = angle_at(static_cast<double>(tooth.tick) * 1e-9) + 0.2;
            const auto turn = static_cast<long>(std::floor(angle / kTurn + 0.02));
            if (turn < 1 || turn > turns - 3) continue;
            ++checked;
            if (tooth.index == 0) {
                ++firsts;
                continue;
            }
            // Where the voltage of this turn's wheel crosses zero for that tooth.
            const auto& seen = wheels[of_turn(tooth.index < 29 ? turn : turn + 1)];
            const double truth = seen.pulses()[static_cast<std::size_t>(tooth.index)].edge_rad;
            const double here = angle - kTurn * static_cast<double>(turn);
            worst = std::max(worst, std::fabs(here - truth) * 360.0 / kTurn);
        }
    };
    for (const auto& edge : found.edges) take(decoder.push(edge.tick, Signal::crank, out.data()));
    take(decoder.finish(out.data()));
    EXPECT_EQ(decoder.sync().losses, 0);
    EXPECT_EQ(decoder.sync().extra, 0);
    EXPECT_GE(decoder.sync().revolutions, turns - 4);
    // Every tooth of its own crossing, and none that has not one: a third of the turns have no first tooth.
    EXPECT_GT(firsts, 10);
    EXPECT_LT(firsts, turns);
    EXPECT_GE(checked, 57 * (turns - 5));
    EXPECT_LT(worst, 0.06);
}

}  // namespace
}  // namespace kurbel::test
