// What the tests of the C interface share: the description of the engine whose edges support/inline4_edges.hpp makes.
#pragma once

#include <cstdint>

#include "kurbel/kurbel.h"

namespace kurbel_test {

/// An inline four on a 60-2 wheel with a cam, ticks of 1 us in a 32-bit counter.
inline kurbel_config inline4() {
    kurbel_config config;
    kurbel_config_default(&config, sizeof config);
    config.cylinders = 4;
    const std::int32_t order[4] = {1, 3, 4, 2};
    for (int i = 0; i < 4; ++i) config.firing_order[i] = order[i];
    kurbel_config_even_firing(&config);
    const std::int32_t absent[2] = {58, 59};
    kurbel_config_even_wheel(&config, 60, absent, 2);
    config.tdc1_deg = 84.0;
    config.cam_edges = 1;
    config.cam_edge_deg[0] = 50.0;
    config.timer_hz = 1.0e6;
    config.timer_bits = 32;
    return config;
}

}  // namespace kurbel_test
