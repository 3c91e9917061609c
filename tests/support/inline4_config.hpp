// The description of the engine whose edges inline4_edges.hpp makes.
#pragma once

#include <array>

#include "kurbel/core/config.hpp"
#include "support/inline4_edges.hpp"

namespace kurbel_test {

inline kurbel::Config inline4_config(const Inline4Run& run = {}) {
    kurbel::Config config;
    config.engine.cylinders = 4;
    config.engine.firing_order = {1, 3, 4, 2};
    make_even_firing(config.engine);
    const std::array<int, 2> absent{58, 59};
    static_cast<void>(make_even_wheel(60, absent.data(), 2, config.crank_wheel));
    config.crank_wheel.tdc1_deg = 84.0;
    if (run.cam) {
        config.cam_wheel.edges = 1;
        config.cam_wheel.edge_deg[0] = 50.0;
    }
    config.timer = {run.timer_hz, run.bits};
    return config;
}

}  // namespace kurbel_test
