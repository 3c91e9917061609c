#include "study/cranked_cycles.hpp"

#include <algorithm>
#include <cmath>

#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/decoder.hpp"
#include "kurbel/study/patient_wheel.hpp"

namespace kurbel {

namespace {

/// The first turns tell little: cylinders have leaked empty while the engine stood, and the crank comes up to speed.
constexpr double kSkippedTurns = 1.5;
/// Combustion begins some cycles before the speed of a whole revolution shows it.
constexpr int kCyclesBeforeStart = 3;
/// A sum of squares needs no more, and a minute of cranking harms the starter.
constexpr std::size_t kMostCycles = 48;

struct Edges {
    std::vector<std::int64_t> crank;
    std::vector<std::int64_t> cam;
};

Edges unwrapped(const read::EdgeView& view) {
    Edges edges;
    std::int64_t clock = 0;
    for (std::size_t i = 0; i < view.edges; ++i) {
        const bool wraps = view.timer_bits > 0 && i > 0;
        clock = wraps ? read::unwrap_tick(clock, view.tick[i - 1], view.tick[i], view.timer_bits) : view.tick[i];
        const bool cam = view.signal != nullptr && view.signal[i] == static_cast<std::uint8_t>(Signal::cam);
        auto& list = cam ? edges.cam : edges.crank;
        if (list.empty() || clock > list.back()) list.push_back(clock);
    }
    return edges;
}

/// Where the engine begins to run by itself: the first edge of the first revolution that fast; the number of edges if none is.
std::size_t run_begins(const std::vector<std::int64_t>& crank, std::size_t teeth, double hz) {
    for (std::size_t i = 0; i + teeth < crank.size(); ++i)
        if (60.0 * hz / static_cast<double>(crank[i + teeth] - crank[i]) > kRunning_rpm) return i;
    return crank.size();
}

/// Teeth by the streaming decoder, for wheels whose position only a cam tells: its longest connected run.
PlacedTrack decoded(const Config& config, const read::EdgeView& view, std::int64_t end_tick) {
    Decoder decoder;
    decoder.configure(config);
    PlacedTrack now;
    PlacedTrack longest;
    std::array<Tooth, kMaxTeethPerPush> out;
    const auto take = [&](int count) {
        for (int i = 0; i < count; ++i) {
            const Tooth& tooth = out[static_cast<std::size_t>(i)];
            if (tooth.restart || tooth.tick > end_tick) {
                if (now.teeth.size() > longest.teeth.size()) longest = now;
                now.teeth.clear();
            }
            if (tooth.tick <= end_tick)
                now.teeth.push_back({tooth.tick, tooth.revolution * config.crank_wheel.teeth + tooth.index});
        }
    };
    for (std::size_t i = 0; i < view.edges; ++i) {
        const Signal signal = view.signal == nullptr ? Signal::crank : static_cast<Signal>(view.signal[i]);
        take(decoder.push(view.tick[i], signal, out.data()));
    }
    take(decoder.finish(out.data()));
    return now.teeth.size() > longest.teeth.size() ? now : longest;
}

/// Places teeth on the cycle.
class Frame {
  public:
    Frame(const Config& config, const PlacedTrack& track) : config_(config), track_(track) {}

    /// Crank degrees after a firing TDC of cylinder 1, or after its gas exchange one: see half_deg().
    [[nodiscard]] double angle_deg(std::int64_t place) const {
        const std::int64_t teeth = config_.crank_wheel.teeth;
        const std::int64_t turn = place >= 0 ? place / teeth : -((teeth - 1 - place) / teeth);
        return 360.0 * static_cast<double>(turn) +
               static_cast<double>(config_.crank_wheel.angle_deg[static_cast<std::size_t>(place - turn * teeth)]) -
               config_.crank_wheel.tdc1_deg;
    }

    /// What has to be added so that 0 is a firing TDC of cylinder 1; `known` says whether the cam tells.
    [[nodiscard]] double half_deg(const std::vector<std::int64_t>& cam, bool& known) const {
        known = config_.engine.strokes == 2;
        if (known || config_.cam_wheel.edges == 0) return 0.0;
        double off[2] = {0.0, 0.0};
        int seen = 0;
        for (const std::int64_t tick : cam) {
            const auto next =
                std::lower_bound(track_.teeth.begin(), track_.teeth.end(), tick,
                                 [](const PlacedTooth& tooth, std::int64_t value) { return tooth.tick < value; });
            if (next == track_.teeth.begin() || next == track_.teeth.end()) continue;
            const PlacedTooth& last = *(next - 1);
            const double share = static_cast<double>(tick - last.tick) / static_cast<double>(next->tick - last.tick);
            const double from = angle_deg(last.place);
            const double at = from + share * (angle_deg(next->place) - from);
            for (int half = 0; half < 2; ++half) off[half] += distance_deg(at + 360.0 * half);
            ++seen;
        }
        // A phaser moves a cam by up to 60 crank degrees; the other revolution is far beyond that for one edge, less for many.
        known = seen >= 2 && std::fabs(off[0] - off[1]) > 0.3 * std::max(off[0], off[1]) &&
                std::fabs(off[0] - off[1]) > 15.0 * seen;
        return known && off[1] < off[0] ? 360.0 : 0.0;
    }

  private:
    /// To the nearest edge that the cam should have.
    [[nodiscard]] double distance_deg(double at_deg) const {
        double nearest = 120.0;
        for (int e = 0; e < config_.cam_wheel.edges; ++e)
            nearest = std::min(nearest, std::fabs(std::remainder(
                                            at_deg - config_.cam_wheel.edge_deg[static_cast<std::size_t>(e)], 720.0)));
        return nearest;
    }

    const Config& config_;
    const PlacedTrack& track_;
};

}  // namespace

CrankedPart cranked_part(const Config& config, const read::EdgeView& view) {
    CrankedPart part;
    Edges edges = unwrapped(view);
    const auto teeth = static_cast<std::size_t>(config.crank_wheel.teeth);
    const double hz = config.timer.hz;
    if (edges.crank.size() < 2 * teeth) return part;
    const double cycle_deg = config.engine.cycle_deg();
    const std::size_t teeth_a_cycle = teeth * (config.engine.strokes == 2 ? 1 : 2);
    const std::size_t run = run_begins(edges.crank, teeth, hz);
    part.started = run < edges.crank.size();
    const std::size_t before = part.started ? kCyclesBeforeStart * teeth_a_cycle : 0;
    edges.crank.resize(run > before ? run - before : 0);
    if (edges.crank.empty()) return part;
    part.begin_s = static_cast<double>(edges.crank.front()) / hz;
    part.end_s = static_cast<double>(edges.crank.back()) / hz;

    PlacedTrack track = place_teeth(edges.crank, config.crank_wheel, hz);
    if (track.teeth.empty()) track = decoded(config, view, edges.crank.back());
    if (track.teeth.size() < teeth_a_cycle) return part;
    part.missed = track.missed;
    part.extra = track.extra;
    const Frame frame(config, track);
    const double half_deg = frame.half_deg(edges.cam, part.phase_known);
    const auto cycle_of = [&](const PlacedTooth& tooth) {
        return static_cast<std::int64_t>(std::floor((frame.angle_deg(tooth.place) + half_deg) / cycle_deg));
    };
    const double from_deg = frame.angle_deg(track.teeth.front().place) + half_deg + 360.0 * kSkippedTurns;
    const auto first = static_cast<std::int64_t>(std::ceil(from_deg / cycle_deg));
    for (std::size_t i = 1; i < track.teeth.size(); ++i) {
        const PlacedTooth& last = track.teeth[i - 1];
        const PlacedTooth& next = track.teeth[i];
        const std::int64_t cycle = cycle_of(last);
        const double begin_deg = frame.angle_deg(last.place) + half_deg - static_cast<double>(cycle) * cycle_deg;
        const double width_deg = frame.angle_deg(next.place) - frame.angle_deg(last.place);
        if (cycle < first || begin_deg + width_deg > cycle_deg + 1e-6) continue;
        const auto slot = static_cast<std::size_t>(cycle - first);
        if (slot >= part.cycles.size()) part.cycles.resize(slot + 1);
        CrankedCycle& into = part.cycles[slot];
        const double period_s = static_cast<double>(next.tick - last.tick) / hz;
        if (into.interval.empty()) into.time_s = static_cast<double>(last.tick) / hz;
        into.seconds += period_s;
        if (next.place - last.place > 1) continue;  // a missed tooth
        const double speed = to_rad(width_deg) / period_s;
        into.interval.push_back({begin_deg, width_deg, 0.5 * speed * speed, speed,
                                 static_cast<int>(last.place % static_cast<std::int64_t>(teeth)),
                                 static_cast<int>(next.place % static_cast<std::int64_t>(teeth))});
    }
    // Whole ones, all but a tooth or two.
    std::erase_if(part.cycles,
                  [&](const CrankedCycle& cycle) { return cycle.interval.size() + 4 < teeth_a_cycle * 98 / 100; });
    if (part.cycles.size() > kMostCycles) part.cycles.resize(kMostCycles);
    return part;
}

}  // namespace kurbel
