// Settings drawn from the whole of their ranges, ends included: whatever engine that makes, figures stay finite and the run ends.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "kurbel/simulate/random.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

class Draw {
  public:
    explicit Draw(std::uint64_t seed) : random_(seed, 7) {}
    /// Uniform, the ends with a tenth each.
    double uniform(double low, double high) {
        const double which = random_.uniform();
        const double u = random_.uniform();
        return which < 0.1 ? low : which > 0.9 ? high : low + u * (high - low);
    }
    /// The same on a logarithmic scale.
    double wide(double low, double high) { return low * std::pow(high / low, uniform(0.0, 1.0)); }
    bool coin() { return random_.uniform() < 0.5; }

  private:
    Random random_;
};

Scenario extreme(std::uint64_t seed) {
    Draw d(seed);
    Scenario s = d.coin() ? test::inline_four() : test::inline_engine({1, 3, 2});
    s.seed = seed;
    s.seconds = 2.0;
    s.settle_s = d.coin() ? 0.0 : 1.0;
    s.operation.mode = static_cast<Operation>(seed % 5);
    if (s.operation.mode == Operation::hold || s.operation.mode == Operation::cranking)
        s.operation.load = Profile(d.uniform(0.02, 3.0));
    s.operation.speed_rpm = Profile(d.wide(50.0, 7000.0));
    s.engine.compression_ratio = d.uniform(6.0, 20.0);
    CombustionSettings& c = s.combustion;
    c.throttled = d.coin();
    c.ca50_deg = d.uniform(-20.0, 70.0);
    c.burn_deg = d.uniform(10.0, 120.0);
    c.retard_deg = Profile(d.uniform(-20.0, 70.0));
    c.burn_growth_per_deg = d.uniform(0.0, 0.05);
    c.egr = d.uniform(0.0, 0.6);
    c.scatter_per_retard_deg = d.uniform(0.0, 0.05);
    c.scatter_per_dilution = d.uniform(0.0, 5.0);
    c.slow_share_low_load = c.slow_share = d.uniform(0.0, 1.0);
    c.slow_factor = d.uniform(1.0, 10.0);
    c.slow_spread = d.uniform(0.0, 1.0);
    c.carry_over = d.uniform(0.0, 1.0);
    c.premixed_share = d.uniform(0.0, 0.9);
    c.premixed_deg = d.uniform(3.0, 60.0);
    c.charge_spread = d.uniform(0.0, 0.5);
    c.film_share = d.uniform(0.0, 0.9);
    c.film_s = d.wide(0.01, 10.0);
    s.gas_exchange.exhaust_bar_s2_per_kg2 = d.coin() ? 0.0 : d.wide(1.0, 1e5);
    s.gas_exchange.overlap_factor_deg_m = d.uniform(0.0, 10.0);
    s.manifold.volume_l = d.coin() ? d.wide(1e-3, 1e3) : 0.0;
    s.manifold.throttle_mm2 = d.wide(1.0, 1e6);
    s.manifold.actuator_s = d.uniform(0.0, 2.0);
    s.manifold.boost_bar = Profile({{0.0, d.uniform(-0.5, 5.0)}, {1.5, d.uniform(-0.5, 5.0)}});
    s.friction.cold_exponent = d.uniform(0.0, 0.5);
    s.channels.coolant_c = Profile(d.uniform(-60.0, 200.0));
    s.starter.stall_nm = d.wide(1.0, 20000.0);
    s.starter.free_rpm = d.uniform(50.0, 2000.0);
    s.starter.stall_a = d.coin() ? 0.0 : d.wide(1.0, 5000.0);
    s.starter.battery_ohm = d.uniform(0.0, 1.0);
    s.starter.sag_ohm = d.uniform(0.0, 1.0);
    s.idle_spark.gain_deg_per_rpm = d.coin() ? 0.0 : d.uniform(0.0, 1.0);
    s.idle_spark.most_deg = d.uniform(40.0, 60.0);
    s.idle_spark.filter_s = d.uniform(0.0, 2.0);
    if (d.coin()) {
        Deactivation rule;
        rule.cylinders = {1, 2};
        rule.from_s = 0.5;
        rule.to_s = 1.5;
        rule.bottom_bar = d.uniform(0.02, 2.0);
        s.deactivations.push_back(rule);
    }
    s.misfires.push_back({});
    return s;
}

TEST(Extremes, StayFinite) {
    for (std::uint64_t seed = 1; seed <= 60; ++seed) {
        bool finite = true;
        const read::Recording recording = simulate(extreme(seed), {}, [&](const EngineModel& model, double) {
            finite = finite && std::isfinite(model.speed_rad_s[1]) && std::fabs(model.speed_rad_s[1]) < 1e4 &&
                     std::isfinite(model.manifold_pa) && model.manifold_pa > 0.0;
        });
        for (const read::TruthRow& row : recording.truth)
            finite = finite && std::isfinite(row.work_j) && std::isfinite(row.tdc_bar) && row.tdc_bar > -1.1;
        EXPECT_TRUE(finite) << "seed " << seed;
    }
}

TEST(Extremes, ABurnAfterTheExhaustOpensGivesNothing) {
    const Scenario s = test::inline_four();
    const CylinderModel model(s.engine, s.combustion, s.gas_exchange);
    BurnIntegral burn;
    EXPECT_EQ(model.prepare_burn(BurnShape{130.0 * portable::kPi / 180.0, 0.5}, burn), 0.0);
    EXPECT_EQ(burn.at(0.0), 0.0);
    EXPECT_EQ(burn.at(3.0), 0.0);
}

}  // namespace
}  // namespace kurbel::simulate
