// What varies from burn to burn, seen in the truth of whole runs.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "kurbel/simulate/cylinder.hpp"
#include "kurbel/simulate/mean_torque.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

using read::Recording;
using read::TruthRow;

constexpr double kDeg = portable::kPi / 180.0;

/// Four cylinders in gear that differ in nothing from cycle to cycle.
Scenario even_running(double rpm = 2000.0, double load = 0.4) {
    Scenario s = test::in_gear(test::without_scatter(test::inline_four()), rpm, load);
    s.seconds = 6.0;
    return s;
}

struct Moments {
    double mean = 0.0;
    double deviation = 0.0;
};

Moments work(const Recording& recording) {
    Moments m;
    const auto n = static_cast<double>(recording.truth.size());
    for (const TruthRow& row : recording.truth) m.mean += row.work_j / n;
    for (const TruthRow& row : recording.truth) m.deviation += (row.work_j - m.mean) * (row.work_j - m.mean) / n;
    m.deviation = std::sqrt(m.deviation);
    return m;
}

double cov(const Scenario& s) {
    const Moments m = work(simulate(s));
    return m.deviation / m.mean;
}

/// Work of the first firing of `cylinder` after each firing of it that meets `condition`, and of all others without one
/// just before.
template <class Condition>
std::pair<double, double> after_and_else(const Recording& recording, Condition condition) {
    std::map<int, bool> met;
    double after = 0.0;
    double other = 0.0;
    int afters = 0;
    int others = 0;
    for (const TruthRow& row : recording.truth) {
        const bool now = condition(row);
        if (!now && met.count(row.cylinder) != 0) {
            (met[row.cylinder] ? after : other) += row.work_j;
            ++(met[row.cylinder] ? afters : others);
        }
        met[row.cylinder] = now;
    }
    return {after / afters, other / others};
}

TEST(Burning, SlowBurnsLoseWhatTheOpeningExhaustCutsOff) {
    Scenario s = even_running();
    s.combustion.slow_share = 0.2;
    s.combustion.slow_share_low_load = 0.2;
    s.combustion.slow_factor = 3.0;
    s.combustion.slow_spread = 0.0;
    s.seconds = 20.0;
    const Recording recording = simulate(s);
    const double best =
        std::max_element(recording.truth.begin(), recording.truth.end(), [](const TruthRow& a, const TruthRow& b) {
            return a.work_j < b.work_j;
        })->work_j;
    const auto weak = std::count_if(recording.truth.begin(), recording.truth.end(),
                                    [&](const TruthRow& row) { return row.work_j < 0.9 * best; });
    for (const TruthRow& row : recording.truth) EXPECT_EQ(row.severity, 0.0);  // nature's, not the rules'
    // Binomial: 1333 firings at 20 % have a standard deviation of 1.1 %.
    EXPECT_NEAR(static_cast<double>(weak) / static_cast<double>(recording.truth.size()), 0.2, 0.045);

    // The same burn by the cylinder alone: late heat gives little work, and some of it never comes.
    const CylinderModel model(s.engine, s.combustion, s.gas_exchange);
    Charge charge = nominal_charge(s, model, 0.4);
    const double usual_rad = burn_duration_rad(s.combustion, 0.4);
    const BurnShape slow{s.combustion.ca50_deg * kDeg - kWiebeHalf * usual_rad, 3.0 * usual_rad};
    const double speed = 2000.0 * portable::kPi / 30.0;
    const double healthy = model.cycle_work_j(speed, charge.trapped_pa, charge);
    const double share = model.prepare_burn(slow, charge.burn);
    EXPECT_LT(share, 0.97);
    const double loss = healthy - model.cycle_work_j(speed, charge.trapped_pa, charge);
    double weakest = best;
    for (const TruthRow& row : recording.truth) weakest = std::min(weakest, row.work_j);
    EXPECT_NEAR(best - weakest, loss, 0.03 * loss);
}

TEST(Burning, ALostSparkStrengthensTheNextCycle) {
    Scenario s = even_running();
    s.combustion.carry_over = 1.0;
    MisfireRule rule;
    rule.pattern = MisfirePattern::random;
    rule.rate = 0.05;
    s.misfires = {rule};
    s.seconds = 20.0;
    const auto lost = [](const TruthRow& row) { return row.severity == 1.0; };
    const auto [after, usual] = after_and_else(simulate(s), lost);
    // The gas left over is a charge that did not burn: mixture to the share 1 - r. Heat grows from 1 - r to (1 - r) + r (1 - r).
    const CylinderModel model(s.engine, s.combustion, s.gas_exchange);
    const double residual = model.usual_residual(manifold_pa(s.combustion, 0.4));
    ASSERT_GT(residual, 0.15);
    EXPECT_NEAR(after / usual, 1.0 + residual, 0.004);
    // A missing injection leaves air behind, which strengthens nothing.
    s.misfires[0].keeps_mixture = false;
    const auto [after_air, usual_air] = after_and_else(simulate(s), lost);
    EXPECT_NEAR(after_air / usual_air, 1.0, 0.004);
}

TEST(Burning, RetardAndDilutionWidenTheScatter) {
    Scenario s = even_running(1200.0, 0.35);
    s.combustion.scatter = 0.04;
    s.combustion.scatter_low_load = 0.04;
    s.seconds = 40.0;
    s.combustion.scatter_per_retard_deg = 0.004;
    s.combustion.scatter_per_dilution = 0.6;
    const double plain = cov(s);
    EXPECT_NEAR(plain, 0.04, 0.008);
    s.combustion.egr = 0.15;
    const double diluted = cov(s);
    // 15 % of the fresh 80 % are 0.12 more burnt gas; 0.6 of that is 0.07.
    EXPECT_NEAR(diluted, 0.04 + 0.07, 0.02);
    s.combustion.egr = 0.0;
    s.combustion.retard_deg = Profile(35.0);
    EXPECT_NEAR(cov(s), 0.04 + 0.14, 0.035);
}

TEST(Burning, CatalystHeatingHoldsIdleWithMoreCharge) {
    Scenario s = test::inline_four();
    s.operation.speed_rpm = Profile(1200.0);
    s.combustion.retard_deg = Profile({{15.0, 40.0}, {20.0, 0.0}});
    s.combustion.scatter_per_retard_deg = 0.003;
    s.settle_s = 15.0;
    s.seconds = 40.0;
    const Recording recording = simulate(s);
    double early = 0.0;
    double late = 0.0;
    for (const read::ChannelRow& row : recording.channels) {
        if (row.channel != Channel::load) continue;
        const double t = static_cast<double>(row.tick) * 1e-9;
        if (t < 14.0) early = row.value;
        late = row.value;
    }
    EXPECT_GT(early, 1.3 * late);
    int firings = 0;
    for (const TruthRow& row : recording.truth) firings += row.time_s < 15.0 ? 1 : 0;
    EXPECT_NEAR(firings / 15.0 * 30.0, 1200.0, 40.0);
}

TEST(Burning, ExhaustLedBackTakesItsShareOfTheWork) {
    Scenario s = even_running();
    const double without = work(simulate(s)).mean;
    s.combustion.egr = 0.2;
    const double with = work(simulate(s)).mean;
    EXPECT_NEAR(with / without, 0.8, 0.01);
}

TEST(Burning, ChargeSpreadShowsInCompressionAndFuelSpreadDoesNot) {
    Scenario s = even_running();
    s.fuel_cuts.push_back({});
    s.combustion.charge_factor = {1.0, 0.9, 1.0, 1.0};
    s.combustion.cylinder_factor = {1.0, 1.0, 0.9, 1.0};
    std::array<double, 5> bar{};
    for (const TruthRow& row : simulate(s).truth) bar[static_cast<std::size_t>(row.cylinder)] = row.tdc_bar + 1.013;
    EXPECT_NEAR(bar[2] / bar[1], 0.9, 0.002);
    EXPECT_NEAR(bar[3] / bar[1], 1.0, 0.002);
    s.fuel_cuts.clear();
    std::array<double, 5> joule{};
    for (const TruthRow& row : simulate(s).truth) joule[static_cast<std::size_t>(row.cylinder)] = row.work_j;
    EXPECT_LT(joule[2], 0.9 * joule[1]);  // residual gas takes more than its share from a poorer charge
    EXPECT_NEAR(joule[3] / joule[1], 0.9, 0.01);
}

TEST(Burning, WallFilmWeakensTheFirstFiringsAfterACut) {
    Scenario s = even_running();
    s.combustion.film_share = 0.3;
    s.combustion.film_s = 0.3;
    s.fuel_cuts.push_back({0, 2.0, 4.5});
    const Recording recording = simulate(s);
    double before = 0.0;
    std::vector<double> returned;
    for (const TruthRow& row : recording.truth) {
        if (row.cylinder != 1) continue;
        if (row.time_s < 1.9) before = row.work_j;
        if (row.time_s > 4.5 && !row.fuel_cut) returned.push_back(row.work_j);
    }
    ASSERT_GT(returned.size(), 15U);
    EXPECT_NEAR(returned[0] / before, 0.7, 0.02);
    for (std::size_t i = 1; i < 8; ++i) EXPECT_GT(returned[i], returned[i - 1]);
    EXPECT_NEAR(returned.back() / before, 1.0, 0.01);
}

TEST(Burning, ADeactivatedCylinderIsAGasSpring) {
    Scenario s = even_running();
    Deactivation rule;
    rule.cylinders = {2, 3};
    rule.from_s = 2.0;
    rule.to_s = 4.0;
    rule.bottom_bar = 0.4;
    s.deactivations.push_back(rule);
    const Recording recording = simulate(s);
    for (const TruthRow& row : recording.truth) {
        const bool shut = row.time_s > 2.1 && row.time_s < 4.0 && (row.cylinder == 2 || row.cylinder == 3);
        if (row.time_s > 1.95 && row.time_s < 2.1) continue;
        if (row.time_s > 3.9 && row.time_s < 4.1) continue;
        EXPECT_EQ(row.fuel_cut, shut);
        EXPECT_EQ(row.severity, 0.0);
        if (!shut) continue;
        EXPECT_NEAR(row.tdc_bar + 1.013, 0.4 * std::pow(10.0, 1.32), 0.01);
        EXPECT_NEAR(row.work_j, 0.0, 1.0);
    }
    double said = 0.0;
    for (const read::ChannelRow& row : recording.channels)
        if (row.channel == fuel_cut_channel(3)) said += row.value;
    EXPECT_NEAR(said, 200.0, 2.0);  // two seconds of a value every 10 ms

    const CylinderModel model(s.engine, s.combustion, s.gas_exchange);
    Charge spring;
    spring.trapped_pa = 0.4e5;
    spring.sealed = true;
    EXPECT_NEAR(model.cycle_work_j(200.0, 0.4e5, spring), 0.0, 1e-6);
}

TEST(Burning, ADieselsBurnHasTwoParts) {
    Scenario s = even_running(1500.0, 0.5);
    s.engine.compression_ratio = 17.0;
    s.combustion.throttled = false;
    s.combustion.premixed_share = 0.3;
    s.combustion.premixed_deg = 8.0;
    s.combustion.burn_deg = 70.0;
    const CylinderModel model(s.engine, s.combustion, s.gas_exchange);
    BurnShape shape{0.0, 70.0 * kDeg, 0.3, 8.0 * kDeg};
    shape = CylinderModel::centred(12.0 * kDeg, shape);
    const auto share = [&](double deg) {
        const double since = deg * kDeg - shape.start_rad;
        return 0.3 * wiebe(since / shape.premixed_rad) + 0.7 * diffusion_burn(since / shape.duration_rad);
    };
    EXPECT_NEAR(share(12.0), 0.5, 1e-9);
    // Early pressure rises faster than with one part of the same centre.
    Charge two;
    two.trapped_pa = 1e5;
    two.heat_j = 800.0;
    Charge one = two;
    EXPECT_GT(model.prepare_burn(shape, two.burn), 0.999);
    model.prepare_burn(12.0 * kDeg, 70.0 * kDeg, one.burn);
    const double early = shape.start_rad + 8.0 * kDeg;
    EXPECT_GT(model.pressure_pa(early, 150.0, 1e5, two), 1.02 * model.pressure_pa(early, 150.0, 1e5, one));
    const Moments m = work(simulate(s));
    EXPECT_GT(m.mean, 200.0);
}

}  // namespace
}  // namespace kurbel::simulate
