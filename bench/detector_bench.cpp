// The whole streaming Detector, edges and channels in, events out.
#include <algorithm>
#include <chrono>
#include <memory>
#include <vector>

#include "common.hpp"
#include "kurbel/detector.hpp"
#include "kurbel/read/analysis.hpp"

namespace {

using kurbel_bench::recording;

template <class Detector>
long run_all(Detector& detector) {
    kurbel::Event event;
    long misfires = 0;
    const auto take = [&] {
        while (detector.next_event(event)) misfires += event.verdict == kurbel::Verdict::misfire ? 1 : 0;
    };
    kurbel::read::Feed feed(kurbel::read::view_of(recording()));
    while (feed.run(detector).code == kurbel::StatusCode::queue_full) take();
    while (detector.finish().code == kurbel::StatusCode::queue_full) take();
    take();
    return misfires;
}

template <class Real, kurbel::Method method>
void detector(benchmark::State& state) {
    kurbel::Config config = recording().config;
    config.settings.method = method;
    auto made =
        std::make_unique<kurbel::Result<kurbel::BasicDetector<Real>>>(kurbel::BasicDetector<Real>::create(config));
    long misfires = 0;
    for (auto _ : state) {
        made->value.reset();
        misfires = run_all(made->value);
        benchmark::DoNotOptimize(misfires);
    }
    kurbel_bench::report(state);
    state.counters["misfires"] = static_cast<double>(misfires);
    state.counters["state_bytes"] = static_cast<double>(sizeof(kurbel::BasicDetector<Real>));
}

BENCHMARK(detector<double, kurbel::Method::work>)->Name("detector/double")->Unit(benchmark::kMillisecond);
BENCHMARK(detector<float, kurbel::Method::work>)->Name("detector/float")->Unit(benchmark::kMillisecond);
BENCHMARK(detector<double, kurbel::Method::segment_roughness>)
    ->Name("detector/segment-roughness")
    ->Unit(benchmark::kMillisecond);

// What a live system must bear: the slowest single push, and the time that 999 of 1000 pushes stay below. The clock's own
// cost is within the figures.
void slowest_push(benchmark::State& state) {
    auto made = std::make_unique<kurbel::Result<kurbel::Detector>>(kurbel::Detector::create(recording().config));
    kurbel::Detector& detector = made->value;
    const auto& edges = recording();
    std::vector<double> seconds(edges.tick.size());
    std::vector<double> least(edges.tick.size(), 1.0);
    kurbel::Event event;
    for (auto _ : state) {
        detector.reset();
        for (std::size_t i = 0; i < edges.tick.size(); ++i) {
            const auto begin = std::chrono::steady_clock::now();
            static_cast<void>(detector.push_edge(edges.tick[i], static_cast<kurbel::Signal>(edges.signal[i])));
            seconds[i] = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
            while (detector.next_event(event)) benchmark::DoNotOptimize(event);
        }
        // The least of all rounds for each push: what the machine does beside us is not the library's.
        for (std::size_t i = 0; i < seconds.size(); ++i) least[i] = std::min(least[i], seconds[i]);
    }
    std::sort(least.begin(), least.end());
    state.counters["p999"] = least[least.size() * 999 / 1000];
    state.counters["worst"] = least.back();
}
BENCHMARK(slowest_push)->Name("detector/single-push")->Unit(benchmark::kMillisecond)->Iterations(15);

}  // namespace
