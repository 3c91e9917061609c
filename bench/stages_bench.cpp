// Each stage alone, fed with what the stage before it gave.
#include <memory>
#include <vector>

#include "common.hpp"
#include "kurbel/stage/decision.hpp"
#include "kurbel/stage/decoder.hpp"
#include "kurbel/stage/segment_roughness.hpp"
#include "kurbel/stage/segmenter.hpp"
#include "kurbel/stage/tally.hpp"
#include "kurbel/stage/work_estimator.hpp"

namespace {

using kurbel_bench::recording;
using Real = double;

const kurbel::CycleGrid& grid() {
    static const auto made = make_cycle_grid(recording().config.engine, recording().config.crank_wheel);
    return made;
}

template <class Sink>
void decode_all(kurbel::Decoder& decoder, Sink&& sink) {
    std::array<kurbel::Tooth, kurbel::kMaxTeethPerPush> teeth;
    const auto& edges = recording();
    for (std::size_t i = 0; i < edges.tick.size(); ++i) {
        const int count = decoder.push(edges.tick[i], static_cast<kurbel::Signal>(edges.signal[i]), teeth.data());
        for (int k = 0; k < count; ++k) sink(teeth[static_cast<std::size_t>(k)]);
    }
}

const std::vector<kurbel::Tooth>& all_teeth() {
    static const auto made = [] {
        std::vector<kurbel::Tooth> teeth;
        const auto decoder = std::make_unique<kurbel::Decoder>();
        decoder->configure(recording().config);
        decode_all(*decoder, [&](const kurbel::Tooth& tooth) { teeth.push_back(tooth); });
        return teeth;
    }();
    return made;
}

const std::vector<kurbel::Bin<Real>>& all_bins() {
    static const auto made = [] {
        std::vector<kurbel::Bin<Real>> bins;
        kurbel::Segmenter<Real> segmenter;
        segmenter.configure(recording().config, grid());
        for (const auto& tooth : all_teeth())
            segmenter.push(tooth, [&](const kurbel::Bin<Real>& bin) { bins.push_back(bin); });
        return bins;
    }();
    return made;
}

void decoder(benchmark::State& state) {
    const auto stage = std::make_unique<kurbel::Decoder>();
    stage->configure(recording().config);
    for (auto _ : state) {
        stage->reset();
        decode_all(*stage, [](const kurbel::Tooth& tooth) { benchmark::DoNotOptimize(tooth); });
    }
    kurbel_bench::report(state);
}
BENCHMARK(decoder)->Name("stage/decoder")->Unit(benchmark::kMillisecond);

void segmenter(benchmark::State& state) {
    kurbel::Segmenter<Real> stage;
    stage.configure(recording().config, grid());
    const auto& teeth = all_teeth();
    for (auto _ : state) {
        stage.reset();
        for (const auto& tooth : teeth)
            stage.push(tooth, [](const kurbel::Bin<Real>& bin) { benchmark::DoNotOptimize(bin); });
    }
    kurbel_bench::report(state);
}
BENCHMARK(segmenter)->Name("stage/segmenter")->Unit(benchmark::kMillisecond);

// The estimator learns from what the decision says, so the two can only be run together.
void work_and_decision(benchmark::State& state) {
    const auto work = std::make_unique<kurbel::WorkEstimator<Real>>();
    const auto decision = std::make_unique<kurbel::Decision<Real>>();
    const auto& bins = all_bins();
    kurbel::FiringWork<Real> firing;
    for (auto _ : state) {
        work->configure(recording().config, grid());
        decision->configure(recording().config);
        for (const auto& bin : bins) {
            work->push(bin, Real(0.3), false, bin.phase_known);
            while (work->take(firing, decision->outlook())) {
                const auto judged = decision->judge(firing, !work->settled(), work->cycles_learned() < 20, false);
                benchmark::DoNotOptimize(judged);
                work->learn(firing, judged.feedback);
            }
        }
    }
    kurbel_bench::report(state);
}
BENCHMARK(work_and_decision)->Name("stage/work-estimator+decision")->Unit(benchmark::kMillisecond);

void roughness(benchmark::State& state) {
    const auto stage = std::make_unique<kurbel::SegmentRoughness<Real>>();
    stage->configure(recording().config, grid());
    const auto& bins = all_bins();
    kurbel::FiringWork<Real> firing;
    for (auto _ : state) {
        stage->reset();
        for (const auto& bin : bins) {
            stage->push(bin, Real(0.3), false, bin.phase_known);
            while (stage->take(firing)) {
                benchmark::DoNotOptimize(firing);
                stage->learn();
            }
        }
    }
    kurbel_bench::report(state);
}
BENCHMARK(roughness)->Name("stage/segment-roughness")->Unit(benchmark::kMillisecond);

}  // namespace
