// An engine that fires evenly, cylinders in the order of their numbers.
#pragma once

#include "kurbel/core/config.hpp"

namespace kurbel::test {

inline EngineConfig even_engine(int cylinders, int strokes = 4) {
    EngineConfig engine;
    engine.strokes = strokes;
    engine.cylinders = cylinders;
    for (int i = 0; i < cylinders; ++i) engine.firing_order[static_cast<std::size_t>(i)] = i + 1;
    make_even_firing(engine);
    return engine;
}

}  // namespace kurbel::test
