// From a cell and a seed to an engine on paper.
#pragma once

#include <cstdint>
#include <stdexcept>
#include <string>
#include <vector>

#include "cell.hpp"
#include "kurbel/simulate/mean_torque.hpp"
#include "kurbel/simulate/random.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel_detection {

/// Draws uniformly from ranges; the stream belongs to the cell's name, so that leaving out other cells changes nothing.
class Draw {
  public:
    Draw(const std::string& cell_name, std::uint64_t seed) : random_(seed, hash(cell_name)) {}

    [[nodiscard]] double from(const Range& range) { return between(range, random_.uniform()); }

    /// 0 to count - 1.
    [[nodiscard]] int pick(int count) { return static_cast<int>(random_.uniform() * count); }

    /// A seed that scenario files can hold.
    [[nodiscard]] std::uint64_t seed() { return (random_.next() >> 12) + 1; }

    [[nodiscard]] static double between(const Range& range, double share) {
        return range.low + (range.high - range.low) * share;
    }

  private:
    /// FNV-1a, 64 bits (Fowler, Noll and Vo; from memory).
    [[nodiscard]] static std::uint64_t hash(const std::string& text) {
        std::uint64_t value = 0xcbf29ce484222325ULL;
        for (const char letter : text) value = (value ^ static_cast<unsigned char>(letter)) * 0x100000001b3ULL;
        return value;
    }

    kurbel::simulate::Random random_;
};

namespace detail {

using kurbel::simulate::Scenario;

inline void draw_engine(Draw& draw, int cylinders, Scenario& s) {
    static constexpr int kOrders[3][5] = {{1, 3, 4, 2, 0}, {1, 2, 4, 3, 0}, {1, 2, 4, 5, 3}};
    const int order = cylinders == 5 ? 2 : draw.pick(2);
    s.engine.cylinders = cylinders;
    for (int i = 0; i < cylinders; ++i) {
        const auto n = static_cast<std::size_t>(i);
        s.engine.firing_order[n] = kOrders[order][i];
        s.engine.throw_number[n] = i + 1;
    }
    kurbel::make_even_firing(s.engine);
    s.engine.bore_mm = draw.from(kBore_mm);
    s.engine.stroke_mm = s.engine.bore_mm * draw.from(kStrokePerBore);
    s.engine.rod_mm = 0.5 * s.engine.stroke_mm * draw.from(kRodPerCrankRadius);
    s.engine.compression_ratio = draw.from(kCompressionRatio);
    s.engine.reciprocating_kg = draw.from(kReciprocating_kg);
    s.engine.inertia_kg_m2 = cylinders * draw.from(kInertiaPerCylinder);
    s.crank.first_torsion_hz = draw.from(kFirstTorsion_hz);
    s.crank.damping_ratio = draw.from(kTorsionDamping);
    s.crank.pulley_share = draw.from(kPulleyShare);
    s.crank.throws_share = draw.from(kThrowsShare);
}

inline void draw_combustion(Draw& draw, Scenario& s) {
    s.combustion.scatter = draw.from(kScatterHighLoad);
    s.combustion.scatter_low_load = draw.from(kScatterLowLoad);
    s.combustion.scatter_skewness = draw.from(kScatterSkewness);
    s.combustion.spread = draw.from(kSpread);
    s.combustion.ca50_deg = draw.from(kHalfBurnt_deg);
    s.combustion.burn_deg = draw.from(kBurn_deg);
    s.combustion.burn_low_load_deg = draw.from(kBurnLowLoad_deg);
}

inline void draw_driveline(Draw& draw, const Cell& cell, Scenario& s) {
    s.friction.accessories_nm = draw.from(kAccessories_nm);
    s.driveline.vehicle_kg = draw.from(kVehicle_kg);
    const double gear = draw.from(cell.speed_rpm == kIdleSpeed_rpm ? kIdleGear : kAnyGear);
    s.driveline.ratio = Draw::between(kGearing, 1.0 - gear);
    s.driveline.shuffle_hz = Draw::between(kShuffle_hz, gear);
    s.driveline.shuffle_damping = draw.from(kShuffleDamping);
    s.driveline.clutch_hz = draw.from(kClutch_hz);
    s.driveline.clutch_damping = draw.from(kClutchDamping);
}

inline void draw_measurement(Draw& draw, Scenario& s) {
    const int sixty_less_two[] = {58, 59};
    const int thirty_six_less_one[] = {35};
    const bool sixty = draw.pick(2) == 0;
    const kurbel::Status status = sixty ? kurbel::make_even_wheel(60, sixty_less_two, 2, s.crank_wheel)
                                        : kurbel::make_even_wheel(36, thirty_six_less_one, 1, s.crank_wheel);
    if (!status) throw std::logic_error(status.why);
    s.crank_wheel.tdc1_deg = draw.from(kTdc1_deg);
    s.crank_wheel.at = draw.pick(2) == 0 ? kurbel::SensorAt::front : kurbel::SensorAt::flywheel;
    s.cam_wheel.edges = 1;
    s.cam_wheel.edge_deg[0] = draw.from(kCamEdge_deg);
    s.has_timer = true;
    s.timer = {kTimer_hz[draw.pick(4)], 32};
    s.wheel_error.pitch_deg = kPitchError_deg;
    s.wheel_error.jitter_deg = kJitter_deg;
    s.channels.load_gain = draw.from(kLoadGain);
}

/// Charge at which the engine holds its speed without load.
[[nodiscard]] inline double unloaded_charge(const Scenario& s, double speed_rpm) {
    namespace sim = kurbel::simulate;
    const sim::CylinderModel cylinder(s.engine, s.combustion, s.gas_exchange);
    const sim::Friction friction(s);
    return sim::MeanTorque(s, cylinder, friction).load_for(0.0, speed_rpm * sim::portable::kPi / 30.0);
}

/// Needs engine, combustion and friction.
inline void draw_operation(Draw& draw, const Cell& cell, Scenario& s) {
    const double factor = draw.from(kSpeedFactor);
    const double idle = draw.from(kIdle_rpm);
    const double speed_rpm = cell.speed_rpm == kIdleSpeed_rpm ? idle : cell.speed_rpm * factor;
    s.operation.speed_rpm = kurbel::simulate::Profile(speed_rpm);
    const double low = draw.from(kLowLoadExcess);
    const double mid = draw.from(kMidLoadExcess);
    if (cell.load == Load::neutral) return;
    s.operation.mode = kurbel::simulate::Operation::hold;
    s.operation.load = kurbel::simulate::Profile(unloaded_charge(s, speed_rpm) + (cell.load == Load::low ? low : mid));
}

/// A cylinder that dies at once can stall the idle before the governor has answered; so it dies in three steps while the run
/// settles, and is dead from the recording's first edge to its last.
[[nodiscard]] inline std::vector<kurbel::simulate::MisfireRule> dead_cylinder(int cylinder) {
    kurbel::simulate::MisfireRule rule;
    rule.pattern = kurbel::simulate::MisfirePattern::continuous;
    rule.cylinders = {cylinder};
    std::vector<kurbel::simulate::MisfireRule> rules(3, rule);
    rules[0].severity = 1.0 / 3.0;
    rules[1].severity = 2.0 / 3.0;
    rules[1].from_s = -3.5;
    rules[2].from_s = -2.0;
    return rules;
}

inline void draw_misfires(Draw& draw, const Cell& cell, Scenario& s) {
    const int dead = draw.pick(cell.cylinders) + 1;
    if (cell.pattern == Pattern::dead) {
        s.misfires = dead_cylinder(dead);
        return;
    }
    kurbel::simulate::MisfireRule rule;
    rule.pattern = kurbel::simulate::MisfirePattern::random;
    rule.rate = kRandomRate;
    s.misfires = {rule};
}

}  // namespace detail

/// The scenario of `cell` for draw `seed`, about `firings` firings long. The same call always gives the same scenario.
[[nodiscard]] inline kurbel::simulate::Scenario draw_scenario(const Cell& cell, std::uint64_t seed, int firings) {
    kurbel::simulate::Scenario s;
    Draw draw(name(cell), seed);
    detail::draw_engine(draw, cell.cylinders, s);
    detail::draw_combustion(draw, s);
    detail::draw_driveline(draw, cell, s);
    detail::draw_measurement(draw, s);
    detail::draw_operation(draw, cell, s);
    detail::draw_misfires(draw, cell, s);
    s.seed = draw.seed();
    s.seconds = 120.0 * firings / (cell.cylinders * s.operation.speed_rpm.at(0.0));
    return s;
}

}  // namespace kurbel_detection
