#include "kurbel/simulate/capture.hpp"

#include <algorithm>
#include <cmath>

namespace kurbel::simulate {

namespace {

constexpr std::uint64_t kLatencyStream = 46;
constexpr std::uint64_t kGlitchStream = 2000000;

void add_glitches(const Glitch& glitch, double seconds, Random random, std::vector<SimulatedEdge>& edges) {
    const double end = std::min(glitch.to_s, seconds);
    double time = std::max(glitch.from_s, 0.0);
    while (glitch.rate_hz > 0.0) {
        time -= portable::log(1.0 - random.uniform()) / glitch.rate_hz;  // times of a Poisson process
        if (time >= end) return;
        for (int i = 0; i < glitch.length; ++i) edges.push_back({time + i * glitch.spacing_s, glitch.signal, -1});
    }
}

}  // namespace

void disturb(const Scenario& scenario, std::vector<SimulatedEdge>& edges) {
    for (std::size_t i = 0; i < scenario.glitches.size(); ++i)
        add_glitches(scenario.glitches[i], scenario.seconds, Random(scenario.seed, kGlitchStream + i), edges);
    for (const Dropout& dropout : scenario.dropouts)
        std::erase_if(edges, [&](const SimulatedEdge& edge) {
            return edge.signal == dropout.signal && edge.time_s >= dropout.from_s && edge.time_s < dropout.to_s;
        });
    if (!(scenario.capture.latency_s > 0.0)) return;
    Random random(scenario.seed, kLatencyStream);
    for (SimulatedEdge& edge : edges) edge.time_s += scenario.capture.latency_s * random.uniform();
}

CapturedEdges capture(std::vector<SimulatedEdge>& edges, const TimerConfig& timer, const CaptureSettings& settings) {
    std::stable_sort(edges.begin(), edges.end(),
                     [](const SimulatedEdge& a, const SimulatedEdge& b) { return a.time_s < b.time_s; });
    CapturedEdges result;
    result.tick.reserve(edges.size());
    result.signal.reserve(edges.size());
    const std::int64_t range = timer.bits > 0 ? std::int64_t{1} << timer.bits : 0;
    const auto start = static_cast<std::int64_t>(settings.counter_start);
    for (const SimulatedEdge& edge : edges) {
        const auto since = static_cast<std::int64_t>(std::floor(std::max(0.0, edge.time_s) * timer.hz));
        const std::int64_t counter = since - since % settings.prescaler + start;
        const std::int64_t raw = range > 0 ? counter % range : counter;
        if (result.tick.empty()) result.clock_shift_s = static_cast<double>(counter - start - raw) / timer.hz;
        result.tick.push_back(raw);
        result.signal.push_back(static_cast<std::uint8_t>(edge.signal));
    }
    return result;
}

void tell(const Scenario& scenario, Config& config) noexcept {
    const ToldSettings& told = scenario.told;
    const auto turned = [](double deg, double turn) { return deg - turn * std::floor(deg / turn); };
    if (told.tdc1_error_deg != 0.0)
        config.crank_wheel.tdc1_deg = turned(config.crank_wheel.tdc1_deg + told.tdc1_error_deg, 360.0);
    const auto edges = config.cam_wheel.edge_deg.begin();
    if (told.cam_error_deg != 0.0) {
        for (int i = 0; i < config.cam_wheel.edges; ++i)
            edges[i] = turned(edges[i] + told.cam_error_deg, config.engine.cycle_deg());
        std::sort(edges, edges + config.cam_wheel.edges);
    }
    EngineConfig& engine = config.engine;
    engine.inertia_kg_m2 *= told.inertia_factor;
    if (told.geometry) return;
    engine.bore_mm = engine.stroke_mm = engine.rod_mm = kUnknown;
    engine.compression_ratio = engine.reciprocating_kg = engine.inertia_kg_m2 = kUnknown;
}

}  // namespace kurbel::simulate
