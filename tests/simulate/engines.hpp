// Scenarios that several tests start from. All figures are invented, within ordinary ranges.
#pragma once

#include <initializer_list>

#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate::test {

/// Inline engine with even firing, 60-2 wheel, no errors of any kind; needs nothing else to run.
inline Scenario inline_engine(std::initializer_list<int> firing_order) {
    Scenario s;
    s.engine.cylinders = static_cast<int>(firing_order.size());
    std::size_t i = 0;
    for (const int cylinder : firing_order) s.engine.firing_order[i++] = cylinder;
    make_even_firing(s.engine);
    s.engine.bore_mm = 86.0;
    s.engine.stroke_mm = 86.0;
    s.engine.rod_mm = 145.0;
    s.engine.compression_ratio = 10.0;
    s.engine.reciprocating_kg = 0.45;
    s.engine.inertia_kg_m2 = 0.16;
    for (int c = 0; c < s.engine.cylinders; ++c) s.engine.throw_number[static_cast<std::size_t>(c)] = c + 1;
    const int absent[] = {58, 59};
    if (!make_even_wheel(60, absent, 2, s.crank_wheel)) s.engine.cylinders = 0;
    s.crank_wheel.tdc1_deg = 84.0;
    s.crank_wheel.at = SensorAt::front;
    s.cam_wheel.edges = 1;
    s.cam_wheel.edge_deg[0] = 50.0;
    s.seconds = 10.0;
    return s;
}

inline Scenario inline_four() { return inline_engine({1, 3, 4, 2}); }

/// Takes out all that is drawn from one cycle to the next.
inline Scenario without_scatter(Scenario s) {
    s.combustion.scatter = 0.0;
    s.combustion.scatter_low_load = 0.0;
    s.combustion.ca50_scatter_deg = 0.0;
    s.combustion.spread = 0.0;
    s.channels.load_noise = 0.0;
    return s;
}

inline Scenario in_gear(Scenario s, double speed_rpm, double load) {
    s.operation.mode = Operation::hold;
    s.operation.speed_rpm = Profile(speed_rpm);
    s.operation.load = Profile(load);
    return s;
}

/// A recording of some seconds in a steady state, on a wheel with the errors of a good one.
inline Scenario on_a_good_wheel(Scenario s, double seconds) {
    s.seconds = seconds;
    s.settle_s = 3.0;
    s.wheel_error.pitch_deg = 0.05;
    s.wheel_error.jitter_deg = 0.01;
    return s;
}

}  // namespace kurbel::simulate::test
