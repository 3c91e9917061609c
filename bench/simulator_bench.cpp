// How much faster than the engine the engine on paper runs, from one cylinder to twelve, in gear on a rough road.
#include <benchmark/benchmark.h>

#include <array>
#include <cstddef>
#include <string>

#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"

namespace {

using kurbel::simulate::Scenario;

constexpr std::array kEngines = {"single",        "inline3", "inline4", "inline4-dual-mass", "inline5", "inline6",
                                 "v8-crossplane", "v10-72",  "v12-60"};

Scenario in_gear(const std::string& name) {
    Scenario s = kurbel::simulate::read_scenario(std::string(KURBEL_BENCH_ENGINES) + "/" + name + ".toml");
    s.operation.mode = kurbel::simulate::Operation::road;
    s.operation.speed_rpm = kurbel::simulate::Profile(3000.0);
    s.operation.load = kurbel::simulate::Profile(0.5);
    s.gearbox.gear = {{0.0, 3}};
    s.road.kind = kurbel::simulate::RoadKind::random;
    s.wheel_error.pitch_deg = 0.1;
    s.wheel_error.jitter_deg = 0.01;
    s.misfires.push_back({});
    s.settle_s = 0.0;
    s.seconds = 5.0;
    return s;
}

void simulator(benchmark::State& state) {
    const std::string name = kEngines[static_cast<std::size_t>(state.range(0))];
    const Scenario scenario = in_gear(name);
    for (auto _ : state) benchmark::DoNotOptimize(kurbel::simulate::simulate(scenario).tick.size());
    state.SetLabel(name);
    state.counters["times_real_time"] =
        benchmark::Counter(scenario.seconds, benchmark::Counter::kIsIterationInvariantRate);
}

BENCHMARK(simulator)->DenseRange(0, kEngines.size() - 1)->Unit(benchmark::kMillisecond);

}  // namespace
