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

/// The same engine with the sizes of a usual car's.
inline EngineConfig car_sized(EngineConfig engine) {
    engine.bore_mm = 86.0;
    engine.stroke_mm = 86.0;
    engine.rod_mm = 145.0;
    engine.compression_ratio = 10.0;
    engine.reciprocating_kg = 0.5;
    engine.inertia_kg_m2 = 0.15;
    return engine;
}

/// The same engine with pistons as good as weightless: where nobody tells their masses, usual ones are taken out of the motion, and cranks on paper
/// have none.
inline EngineConfig without_pistons(EngineConfig engine) {
    engine.reciprocating_kg = 1e-12;
    engine.stroke_mm = 86.0;
    engine.inertia_kg_m2 = 0.15;
    return engine;
}

}  // namespace kurbel::test
