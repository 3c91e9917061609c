// Edges of a wheel that turns as told, with faults as told, and a check of what the decoder made of them.
// Own and deliberately simple, so that the decoder's tests depend on nothing but the decoder.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <random>
#include <string>
#include <utility>
#include <vector>

#include "kurbel/stage/decoder.hpp"

namespace kurbel::test {

/// An edge and the truth about it.
struct WheelEdge {
    std::int64_t tick = 0;
    Signal signal = Signal::crank;
    int tooth = -1;      ///< true tooth; -1 = extra edge
    int revolution = 0;  ///< true revolution, from place 0 to place 0; even ones hold cylinder 1's firing TDC
};

/// How the wheel turns and what goes wrong.
struct WheelRun {
    Config config{};
    double start_deg = 0.0;  ///< crank angle at time 0; 0 = place 0 of a first half
    double revolutions = 10.0;
    /// Speed in degrees a second, by crank degrees since the start.
    std::function<double(double)> speed_deg_s = [](double) { return 6.0 * 800.0; };
    /// How far the edge of a tooth stands from its place, in degrees.
    std::function<double(int tooth, int revolution)> displaced_deg = [](int, int) { return 0.0; };
    std::function<bool(int tooth, int revolution)> missed = [](int, int) { return false; };
    std::function<bool(int edge, int revolution)> cam_missed = [](int, int) { return false; };
    std::vector<double> extra_deg{};      ///< crank degrees (as start_deg counts) of extra crank edges
    std::vector<double> cam_extra_deg{};  ///< the same on the cam
};

/// Time by angle, by the trapezoidal rule on a fine grid.
class Turning {
  public:
    Turning(const WheelRun& run) : start_deg_(run.start_deg) {
        const auto steps = static_cast<std::size_t>(run.revolutions * 360.0 / kStepDeg) + 2;
        time_s_.reserve(steps);
        double time_s = 0.0;
        for (std::size_t i = 0; i < steps; ++i) {
            time_s_.push_back(time_s);
            time_s += kStepDeg / run.speed_deg_s((static_cast<double>(i) + 0.5) * kStepDeg);
        }
    }
    [[nodiscard]] bool holds(double deg) const {
        return deg >= start_deg_ && deg < start_deg_ + kStepDeg * static_cast<double>(time_s_.size() - 1);
    }
    [[nodiscard]] double time_s(double deg) const {
        const double at = (deg - start_deg_) / kStepDeg;
        const auto step = static_cast<std::size_t>(at);
        return std::lerp(time_s_[step], time_s_[step + 1], at - static_cast<double>(step));
    }

  private:
    static constexpr double kStepDeg = 0.25;
    double start_deg_;
    std::vector<double> time_s_;
};

inline std::vector<WheelEdge> make_edges(const WheelRun& run) {
    const Turning turning(run);
    const WheelConfig& wheel = run.config.crank_wheel;
    const CamConfig& cam = run.config.cam_wheel;
    const double cycle_deg = run.config.engine.cycle_deg();
    std::vector<WheelEdge> edges;
    const auto add = [&](double deg, Signal signal, int tooth, int revolution) {
        if (!turning.holds(deg)) return;
        edges.push_back({static_cast<std::int64_t>(std::llround(turning.time_s(deg) * run.config.timer.hz)), signal,
                         tooth, revolution});
    };
    const int first = static_cast<int>(std::floor(run.start_deg / 360.0)) - 1;
    const int last = static_cast<int>(std::ceil((run.start_deg + run.revolutions * 360.0) / 360.0)) + 1;
    for (int revolution = first; revolution <= last; ++revolution)
        for (int i = 0; i < wheel.teeth; ++i) {
            const double deg = 360.0 * revolution + static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(i)]);
            if (run.missed(i, revolution)) continue;
            add(deg + run.displaced_deg(i, revolution), Signal::crank, i, revolution);
        }
    const int per_cycle = static_cast<int>(cycle_deg / 360.0);
    for (int cycle = first / per_cycle - 1; cycle <= last / per_cycle + 1; ++cycle)
        for (int i = 0; i < cam.edges; ++i)
            if (!run.cam_missed(i, per_cycle * cycle))
                add(cycle * cycle_deg + wheel.tdc1_deg + cam.edge_deg[static_cast<std::size_t>(i)], Signal::cam, i,
                    cycle);
    for (const double deg : run.extra_deg) add(deg, Signal::crank, -1, 0);
    for (const double deg : run.cam_extra_deg) add(deg, Signal::cam, -1, 0);
    std::stable_sort(edges.begin(), edges.end(),
                     [](const WheelEdge& a, const WheelEdge& b) { return a.tick < b.tick; });
    return edges;
}

/// What came out, against the truth.
struct Outcome {
    std::vector<Tooth> teeth;
    SyncState sync;
    int wrong_index = 0;       ///< teeth with an index that is not the true one, or made of an extra edge
    int wrong_half = 0;        ///< teeth with phase_known and a half that is not the true one
    int wrong_revolution = 0;  ///< steps in `revolution` that are not the true ones, within one stretch of synchronism
    int restarts = 0;
    int longest_wrong = 0;     ///< most wrong teeth in a row
    int wrong_in_the_end = 0;  ///< wrong teeth in a row at the end
    int edges_to_sync = -1;    ///< crank edges up to the first tooth given out
    int edges_to_phase = -1;   ///< crank edges up to the first tooth with phase_known
};

inline Outcome decode(const Config& config, const std::vector<WheelEdge>& edges) {
    Decoder decoder;
    decoder.configure(config);
    Outcome outcome;
    std::map<std::int64_t, WheelEdge> truth;
    for (const WheelEdge& edge : edges)
        if (edge.signal == Signal::crank) truth[edge.tick] = edge;
    std::array<Tooth, kMaxTeethPerPush> out;
    int crank_edges = 0;
    int wrong_run = 0;
    int true_revolution = 0;
    const auto beside = [&](const WheelEdge& extra, int index) {
        const auto at = truth.find(extra.tick);
        auto before = at;
        while (before != truth.begin() && before->second.tooth < 0) --before;
        auto after = at;
        while (std::next(after) != truth.end() && after->second.tooth < 0) ++after;
        const auto near = [&](const WheelEdge& tooth) {
            return tooth.tooth == index && 8 * std::abs(tooth.tick - extra.tick) < after->first - before->first;
        };
        return near(before->second) || near(after->second);
    };
    const auto take = [&](const Tooth& tooth) {
        const WheelEdge& edge = truth.at(tooth.tick);
        // An extra edge within an eighth of a span of a tooth may stand for it: no one could tell them apart.
        const bool wrong = edge.tooth != tooth.index && !(edge.tooth < 0 && beside(edge, tooth.index));
        if (wrong) ++outcome.wrong_index;
        wrong_run = wrong ? wrong_run + 1 : 0;
        outcome.longest_wrong = std::max(outcome.longest_wrong, wrong_run);
        const int half = config.engine.strokes == 2 ? 0 : edge.revolution & 1;
        if (tooth.phase_known && tooth.half != half) ++outcome.wrong_half;
        if (tooth.restart) ++outcome.restarts;
        if (!tooth.restart && !outcome.teeth.empty() &&
            tooth.revolution - outcome.teeth.back().revolution != edge.revolution - true_revolution)
            ++outcome.wrong_revolution;
        true_revolution = edge.revolution;
        if (outcome.edges_to_sync < 0) outcome.edges_to_sync = crank_edges;
        if (outcome.edges_to_phase < 0 && tooth.phase_known) outcome.edges_to_phase = crank_edges;
        outcome.teeth.push_back(tooth);
    };
    for (const WheelEdge& edge : edges) {
        if (edge.signal == Signal::crank) ++crank_edges;
        const int count = decoder.push(edge.tick, edge.signal, out.data());
        for (int i = 0; i < count; ++i) take(out[static_cast<std::size_t>(i)]);
    }
    const int count = decoder.finish(out.data());
    for (int i = 0; i < count; ++i) take(out[static_cast<std::size_t>(i)]);
    outcome.wrong_in_the_end = wrong_run;
    outcome.sync = decoder.sync();
    return outcome;
}

// ---- wheels of the trade (common practice, no source) -------------------------------------------------------------

inline WheelConfig even_wheel(int positions, std::vector<int> absent) {
    WheelConfig wheel;
    (void)make_even_wheel(positions, absent.data(), static_cast<int>(absent.size()), wheel);
    return wheel;
}

inline WheelConfig listed_wheel(const std::vector<double>& angles_deg) {
    WheelConfig wheel;
    for (const double deg : angles_deg)
        wheel.angle_deg[static_cast<std::size_t>(wheel.teeth++)] = static_cast<float>(deg);
    return wheel;
}

/// Even four-cylinder engine on this wheel, one cam edge 50 degrees after cylinder 1's firing TDC, 1 ns ticks.
inline Config car(const WheelConfig& wheel, std::vector<double> cam_deg = {50.0}) {
    Config config;
    config.engine.cylinders = 4;
    config.engine.firing_order = {1, 3, 4, 2};
    make_even_firing(config.engine);
    config.crank_wheel = wheel;
    config.crank_wheel.tdc1_deg = 84.0;
    for (const double deg : cam_deg)
        config.cam_wheel.edge_deg[static_cast<std::size_t>(config.cam_wheel.edges++)] = deg;
    return config;
}

// ---- ways to turn -------------------------------------------------------------------------------------------------

/// Constant speed.
inline auto steady(double rpm) {
    return [rpm](double) { return 6.0 * rpm; };
}

/// Speed that swings with `order` periods a revolution between mean (1 - swing) and mean (1 + swing).
inline auto swinging(double rpm, double swing, double order, double phase_deg = 0.0) {
    return [=](double deg) {
        return 6.0 * rpm * (1.0 + swing * std::sin((order * deg + phase_deg) * 3.14159265358979 / 180.0));
    };
}

/// Constant angular acceleration, speed `rpm` at the start and `rpm_per_revolution` more after each revolution.
inline auto accelerating(double rpm, double rpm_per_revolution) {
    return [=](double deg) {
        const double squared = rpm * rpm + 2.0 * rpm * rpm_per_revolution * deg / 360.0;
        return 6.0 * std::sqrt(std::max(squared, 1.0));
    };
}

}  // namespace kurbel::test
