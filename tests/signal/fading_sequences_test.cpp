// A hundred random histories a wheel of a first tooth after the gap that fades in and out, from full height to nothing, by the
// simulator's coil: no sync is lost, and every other tooth stands where its own voltage crosses zero.
#include <gtest/gtest.h>

#include <algorithm>
#include <string>

#include "kurbel/simulate/inductive_sensor.hpp"
#include "kurbel/stage/decoder.hpp"
#include "signal/waves.hpp"
#include "support/slice.hpp"

namespace kurbel::test {
namespace {

constexpr int kHistories = 100;
constexpr int kTurns = 16;
constexpr int kKnownAfter = 3;  // turns: a gap that is wider than told may be another wheel's
constexpr int kSteps = 48;      // of the table of voltages, a place

struct Wheel {
    const char* name;
    int places;
    std::vector<int> absent;
};

/// Voltage over a turn, with the first tooth at any height: the field is a sum over teeth.
class Coil {
  public:
    explicit Coil(const Wheel& wheel) : places_(wheel.places) {
        const InductiveTable without = table(wheel, 0.0);
        const InductiveTable with = table(wheel, 1.0);
        rest_ = without;
        for (std::size_t i = 0; i < with.size(); ++i) first_.push_back(with[i] - without[i]);
    }

    /// Volts per rad/s at `angle_rad`; place 0's crossing lies near 0, and a turn is half a turn either side of it.
    [[nodiscard]] double at(double angle_rad, const std::vector<double>& height) const {
        const double turns = angle_rad / kTurn;
        const auto turn = static_cast<std::size_t>(
            std::clamp(std::floor(turns + 0.5), 0.0, static_cast<double>(height.size()) - 1.0));
        const double place = (turns - std::floor(turns)) * places_ * kSteps;
        const auto low = std::min(static_cast<std::size_t>(place), rest_.size() - 2);
        const double share = place - static_cast<double>(low);
        const auto between = [&](const InductiveTable& of) { return of[low] + share * (of[low + 1] - of[low]); };
        return between(rest_) + height[turn] * between(first_);
    }

    /// The falling zero crossing nearest to a tooth's middle, within 0.4 places; NaN where there is none.
    [[nodiscard]] double crossing(double middle_rad, const std::vector<double>& height) const {
        const double step = kTurn / places_ / kSteps;
        double best = std::nan("");
        for (int i = -2 * kSteps / 5; i < 2 * kSteps / 5; ++i) {
            double low = middle_rad + i * step;
            double high = low + step;
            if (!(at(low, height) > 0.0) || at(high, height) > 0.0) continue;
            for (int k = 0; k < 40; ++k) (at(0.5 * (low + high), height) > 0.0 ? low : high) = 0.5 * (low + high);
            if (!(std::fabs(low - middle_rad) > std::fabs(best - middle_rad))) best = low;
        }
        return best;
    }

  private:
    using InductiveTable = std::vector<double>;

    static InductiveTable table(const Wheel& wheel, double first_height) {
        std::vector<simulate::InductiveWheel::Tooth> teeth;
        for (int place = 0; place < wheel.places; ++place)
            if (std::find(wheel.absent.begin(), wheel.absent.end(), place) == wheel.absent.end())
                teeth.push_back(
                    {place * kTurn / wheel.places, 0.4 * kTurn / wheel.places, place == 0 ? first_height : 1.0, 1.0});
        simulate::SensorSettings sensor;
        sensor.radius_mm = 75.0 * wheel.places / 60.0;  // teeth of one size, so that they differ as clearly
        const simulate::InductiveWheel coil(sensor, teeth, teeth.size() / 2);
        InductiveTable volts;
        for (int i = 0; i <= wheel.places * kSteps; ++i)
            volts.push_back(coil.volts_at(kTurn * i / (wheel.places * kSteps)));
        return volts;
    }

    int places_;
    InductiveTable rest_;
    InductiveTable first_;
};

/// Heights turn by turn: drawn anew, or wandering; a third of the histories let the tooth vanish altogether for some turns.
std::vector<double> heights(std::mt19937_64& engine) {
    std::uniform_real_distribution<double> uniform(0.0, 1.0);
    const double vanishes = uniform(engine) < 1.0 / 3.0 ? 0.5 * uniform(engine) : 0.0;
    const bool wanders = uniform(engine) < 0.5;
    double height = uniform(engine);
    std::vector<double> all;
    for (int turn = 0; turn <= kTurns; ++turn) {
        if (wanders) {
            height += 0.5 * (uniform(engine) - 0.5);
            height = height < 0.0 ? -height : height > 1.0 ? 2.0 - height : height;
        } else {
            height = uniform(engine);
        }
        all.push_back(uniform(engine) < vanishes ? 0.0 : height);
    }
    return all;
}

class FadingSequences : public ::testing::TestWithParam<Wheel> {};

TEST_P(FadingSequences, LoseNoSyncAndMoveNoNeighbour) {
    const Wheel& wheel = GetParam();
    const Coil coil(wheel);
    Config config;
    config.engine.cylinders = 1;
    config.engine.firing_order[0] = 1;
    const auto gone = static_cast<int>(wheel.absent.size());
    ASSERT_TRUE(make_even_wheel(wheel.places, wheel.absent.data(), gone, config.crank_wheel).ok());
    for (int history = 0; history < kHistories; history += kStride) {
        SCOPED_TRACE(std::string(wheel.name) + ", history " + std::to_string(history));
        std::mt19937_64 engine(static_cast<std::uint64_t>(1000 * wheel.places + history));
        std::uniform_real_distribution<double> uniform(0.0, 1.0);
        const std::vector<double> height = heights(engine);
        // 600 to 3000 rpm, a swing of 1 to 6 % once or twice a turn, 10 to 25 samples a place.
        const double speed = kTurn * (10.0 + 40.0 * uniform(engine));
        const double swing = 0.01 + 0.05 * uniform(engine);
        const double order = uniform(engine) < 0.5 ? 1.0 : 2.0;
        const double phase = kTurn * uniform(engine);
        const double rate = speed / kTurn * wheel.places * (10.0 + 15.0 * uniform(engine));
        const auto angle_at = [&](double t) {
            return speed * t - 0.3 + swing / order * (std::sin(order * speed * t + phase) - std::sin(phase));
        };
        Noise draw(engine());
        std::vector<double> samples;
        for (double angle = 0.0; angle < kTurn * (kTurns - 0.6);) {
            const double t = static_cast<double>(samples.size()) / rate;
            angle = angle_at(t);
            const double here = speed * (1.0 + swing * std::cos(order * speed * t + phase));
            samples.push_back(here * coil.at(std::max(angle, 0.0), height) + 0.005 * draw());
        }
        const auto found = find(samples, settings_at(rate));
        EXPECT_EQ(found.report.flank, signal::Flank::falling);

        Decoder decoder;
        decoder.configure(config);
        std::array<Tooth, kMaxTeethPerPush> out;
        const int teeth = config.crank_wheel.teeth;
        std::vector<int> seen(static_cast<std::size_t>(kTurns * teeth));
        double worst = 0.0;
        double worst_first = 0.0;
        const auto take = [&](int count) {
            for (int i = 0; i < count; ++i) {
                const Tooth& tooth = out[static_cast<std::size_t>(i)];
                const double angle = angle_at(static_cast<double>(tooth.tick) * 1e-9);
                const double nominal =
                    kTurn / 360.0 *
                    static_cast<double>(config.crank_wheel.angle_deg[static_cast<std::size_t>(tooth.index)]);
                const double turn = std::round((angle - nominal) / kTurn);
                if (turn < 0.0 || turn >= kTurns) continue;
                const double middle = kTurn * turn + nominal;
                ++seen[static_cast<std::size_t>(turn) * static_cast<std::size_t>(teeth) +
                       static_cast<std::size_t>(tooth.index)];
                // The faint tooth itself stands wherever its voltage lets it, but not at its neighbour's place.
                const double truth = tooth.index == 0 ? middle : coil.crossing(middle, height);
                const double off = std::fabs(angle - truth) / kTurn * wheel.places;
                double& most = tooth.index == 0 ? worst_first : worst;
                most = std::max(most, off);
            }
        };
        for (const auto& edge : found.edges) take(decoder.push(edge.tick, Signal::crank, out.data()));
        take(decoder.finish(out.data()));
        EXPECT_EQ(decoder.sync().losses, 0);
        EXPECT_EQ(decoder.sync().extra, 0);
        EXPECT_LT(worst_first, 0.5) << "places off";
        EXPECT_LT(worst, 0.03) << "places off";
        // Each of the others once, from the first that is given to the end.
        const auto first = std::find(seen.begin(), seen.end(), 1) - seen.begin();
        EXPECT_LT(first, kKnownAfter * teeth);
        const auto lost = std::find_if(seen.begin() + first, seen.end() - 2 * teeth, [&](const int& count) {
            return count != 1 && (&count - seen.data()) % teeth != 0;
        });
        EXPECT_EQ(lost, seen.end() - 2 * teeth)
            << "tooth " << (lost - seen.begin()) % teeth << ", turn " << (lost - seen.begin()) / teeth;
    }
}

INSTANTIATE_TEST_SUITE_P(Wheels, FadingSequences,
                         ::testing::Values(Wheel{"60-2", 60, {58, 59}}, Wheel{"36-1", 36, {35}},
                                           Wheel{"36-2", 36, {34, 35}}, Wheel{"36-2-2-2", 36, {14, 15, 17, 18, 34, 35}},
                                           Wheel{"36-2-1", 36, {17, 34, 35}}, Wheel{"30-1", 30, {29}},
                                           Wheel{"30-2", 30, {28, 29}}, Wheel{"24-1", 24, {23}},
                                           Wheel{"24-2", 24, {22, 23}}),
                         [](const ::testing::TestParamInfo<Wheel>& wheel) {
                             std::string name = wheel.param.name;
                             std::replace(name.begin(), name.end(), '-', '_');
                             return name;
                         });

}  // namespace
}  // namespace kurbel::test
