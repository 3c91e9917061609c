// Edges a second that a recording is read with.
#include <filesystem>

#include "common.hpp"
#include "kurbel/read/recording_writer.hpp"

namespace {

namespace fs = std::filesystem;

void read(benchmark::State& state) {
    const bool npy = state.range(0) != 0;
    const fs::path folder = fs::temp_directory_path() / (npy ? "kurbel-bench-npy" : "kurbel-bench-csv");
    kurbel::read::WriteOptions form;
    form.npy = npy;
    kurbel::read::write_recording(folder.string(), kurbel_bench::recording(), form);
    for (auto _ : state) benchmark::DoNotOptimize(kurbel::read::read_recording(folder.string()).tick.size());
    fs::remove_all(folder);
    state.SetLabel(npy ? "npy" : "csv");
    state.counters["edges_per_second"] = benchmark::Counter(static_cast<double>(kurbel_bench::recording().tick.size()),
                                                            benchmark::Counter::kIsIterationInvariantRate);
}

BENCHMARK(read)->Arg(0)->Arg(1)->Unit(benchmark::kMillisecond);

}  // namespace
