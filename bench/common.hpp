// The recording that the benchmarks run on, simulated once, and how they report.
#pragma once

#include <benchmark/benchmark.h>

#include "kurbel/read/recording.hpp"
#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"

namespace kurbel_bench {

inline const kurbel::read::Recording& recording() {
    static const kurbel::read::Recording made =
        kurbel::simulate::simulate(kurbel::simulate::read_scenario(KURBEL_BENCH_SCENARIO));
    return made;
}

/// Every stage is paid per edge of the whole stream, whatever it takes itself, so that the stages add up.
inline void report(benchmark::State& state) {
    const auto edges = static_cast<double>(recording().tick.size());
    state.counters["per_tooth"] =
        benchmark::Counter(edges, benchmark::Counter::kIsIterationInvariantRate | benchmark::Counter::kInvert);
}

}  // namespace kurbel_bench
