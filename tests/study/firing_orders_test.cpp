// Orders of an energy that was made of known ones.
#include "kurbel/study/firing_orders.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <functional>
#include <numbers>

#include "kurbel/core/slider_crank.hpp"

namespace {

using namespace kurbel;
using Burn = FiringOrders::Burn;

constexpr double kMean = 3500.0;  // 800 rpm

Config config_of(std::initializer_list<int> firing_order, int positions, std::initializer_list<int> absent) {
    Config config;
    config.engine.cylinders = static_cast<int>(firing_order.size());
    std::size_t i = 0;
    for (const int cylinder : firing_order) config.engine.firing_order[i++] = cylinder;
    make_even_firing(config.engine);
    EXPECT_TRUE(make_even_wheel(positions, absent.begin(), static_cast<int>(absent.size()), config.crank_wheel).ok());
    config.crank_wheel.tdc1_deg = 84.0;
    return config;
}

/// Energy over crank angle from cylinder 1's firing TDC, rad.
using Energy = std::function<double(double)>;

/// Turns the wheel from half 0 on with this energy; `skip` says which teeth are lost.
void turn(FiringOrders& orders, const Config& config, int cycles, const Energy& energy, bool phase_known = true,
          const std::function<bool(int)>& skip = {}) {
    double seconds = 0.0;
    double reached_rad = to_rad(-config.crank_wheel.tdc1_deg);
    int count = 0;
    for (int revolution = 0; revolution < 2 * cycles; ++revolution)
        for (int tooth = 0; tooth < config.crank_wheel.teeth; ++tooth) {
            const auto place = static_cast<double>(config.crank_wheel.angle_deg[static_cast<std::size_t>(tooth)]);
            const double there_rad = to_rad(360.0 * revolution + place - config.crank_wheel.tdc1_deg);
            constexpr int kParts = 40;
            const double part = (there_rad - reached_rad) / kParts;
            for (int i = 0; i < kParts; ++i) seconds += part / std::sqrt(2.0 * energy(reached_rad + (i + 0.5) * part));
            reached_rad = there_rad;
            Tooth out;
            out.tick = std::llround(seconds * config.timer.hz);
            out.revolution = revolution;
            out.index = tooth;
            out.half = static_cast<std::uint8_t>(revolution % 2);
            out.phase_known = phase_known;
            out.restart = count == 0;
            if (!skip || !skip(count)) orders.push(out);
            ++count;
        }
}

const FiringOrders::Point* only_point(const FiringOrders& orders) {
    const FiringOrders::Point* found = nullptr;
    for (int burn = 0; burn < FiringOrders::kBurns; ++burn)
        for (int speed = 0; speed < FiringOrders::kSpeeds; ++speed) {
            const auto& point = orders.point(static_cast<Burn>(burn), speed);
            if (point.cycles == 0) continue;
            EXPECT_EQ(found, nullptr) << "more than one point";
            found = &point;
        }
    return found;
}

void expect_phasor(const FiringOrders& orders, int place, std::complex<double> wanted, double within) {
    const FiringOrders::Point* point = only_point(orders);
    ASSERT_NE(point, nullptr);
    const std::complex<double> mean =
        point->phasor[static_cast<std::size_t>(place)] / static_cast<double>(point->cycles);
    EXPECT_LT(std::abs(mean - wanted), within) << "order " << orders.order(place) << ": " << mean;
}

TEST(FiringOrders, AreThoseWhereAllCylindersAct) {
    const FiringOrders four(config_of({1, 3, 4, 2}, 60, {58, 59}));
    EXPECT_EQ(four.order(0), 2.0);
    EXPECT_EQ(four.order(1), 4.0);
    EXPECT_GE(four.quiet_orders(), 3);
    const FiringOrders three(config_of({1, 3, 2}, 60, {58, 59}));
    EXPECT_EQ(three.order(0), 1.5);
    EXPECT_EQ(three.order(1), 3.0);
    // An odd-fire six (90 and 150 degrees in turn) acts together at orders that an even one does not have.
    Config odd = config_of({1, 6, 5, 4, 3, 2}, 60, {58, 59});
    for (std::size_t i = 1; i < 6; i += 2) odd.engine.firing_tdc_deg[i] -= 30.0;
    const FiringOrders six(odd);
    EXPECT_EQ(six.order(0), 1.5);
}

TEST(FiringOrders, CoarseWheelTellsNone) {
    const FiringOrders orders(config_of({1, 3, 4, 2}, 4, {3}));
    EXPECT_EQ(orders.orders(), 0);
}

TEST(FiringOrders, PhasorsComeBackDespiteGapSlopeAndWeakCylinder) {
    const std::complex<double> second(-80.0, 60.0);
    const std::complex<double> fourth(10.0, -25.0);
    const Energy energy = [&](double angle) {
        return kMean + 4.0 * angle + 90.0 * std::cos(0.5 * angle - 1.0) + 70.0 * std::cos(angle + 0.4) +
               30.0 * std::cos(3.0 * angle) + (second * std::polar(1.0, 2.0 * angle)).real() +
               (fourth * std::polar(1.0, 4.0 * angle)).real();
    };
    struct Wheel {
        int positions;
        std::initializer_list<int> absent;
    };
    for (const Wheel& wheel : {Wheel{60, {58, 59}}, Wheel{36, {35}}, Wheel{36, {16, 17, 28, 29, 34, 35}}}) {
        const Config config = config_of({1, 3, 4, 2}, wheel.positions, wheel.absent);
        FiringOrders orders(config);
        turn(orders, config, 12, energy);
        expect_phasor(orders, 0, second, 3.0);
        expect_phasor(orders, 1, fourth, 3.0);
    }
}

TEST(FiringOrders, LostToothTakesItsCyclesOutAndNoMore) {
    const Config config = config_of({1, 3, 4, 2}, 60, {58, 59});
    const Energy energy = [](double angle) { return kMean + 100.0 * std::cos(2.0 * angle); };
    FiringOrders whole(config);
    turn(whole, config, 20, energy);
    FiringOrders hurt(config);
    turn(hurt, config, 20, energy, true, [](int tooth) { return tooth == 10 * 116 + 7; });
    EXPECT_EQ(only_point(hurt)->cycles, only_point(whole)->cycles - 3);  // its own and both neighbours
    expect_phasor(hurt, 0, 100.0, 1.0);
}

TEST(FiringOrders, CutAndFiredAreKeptApart) {
    const Config config = config_of({1, 3, 4, 2}, 60, {58, 59});
    FiringOrders orders(config);
    orders.push_channel(Channel::load, 0.2);
    orders.push_channel(Channel::fuel_cut, 1.0);
    turn(orders, config, 12, [](double) { return kMean; });
    const int speed =
        static_cast<int>(std::log(799.0 / FiringOrders::kSlowest_rpm) / std::log(FiringOrders::kSpeedStep));
    EXPECT_GT(orders.point(Burn::none, speed).cycles, 5);
    EXPECT_EQ(orders.point(Burn::low, speed).cycles, 0);
    orders.push_channel(Channel::fuel_cut, 0.0);
    orders.push_channel(fuel_cut_channel(2), 1.0);  // one of four: neither
    const std::int64_t cut = orders.point(Burn::none, speed).cycles;
    turn(orders, config, 12, [](double) { return kMean; });
    EXPECT_EQ(orders.point(Burn::low, speed).cycles, 0);
    EXPECT_EQ(orders.point(Burn::none, speed).cycles, cut);
    orders.push_channel(fuel_cut_channel(2), 0.0);
    turn(orders, config, 12, [](double) { return kMean; });
    EXPECT_GT(orders.point(Burn::low, speed).cycles, 5);
}

TEST(FiringOrders, PhaseThatBecomesKnownBeginsAnew) {
    const Config config = config_of({1, 3, 2}, 60, {58, 59});
    FiringOrders orders(config);
    const Energy energy = [](double angle) { return kMean + 100.0 * std::cos(1.5 * angle); };
    turn(
        orders, config, 12, [&](double angle) { return energy(angle + 2.0 * std::numbers::pi); }, false);
    EXPECT_TRUE(orders.sign_unknown());
    expect_phasor(orders, 0, -100.0, 3.0);
    turn(orders, config, 12, energy);
    EXPECT_FALSE(orders.sign_unknown());
    expect_phasor(orders, 0, 100.0, 3.0);
}

}  // namespace
