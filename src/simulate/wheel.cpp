#include "kurbel/simulate/wheel.hpp"

#include <algorithm>
#include <cmath>

namespace kurbel::simulate {

namespace {

constexpr double kRadPerDeg = portable::kPi / 180.0;
constexpr std::uint64_t kToothStream = 1;
constexpr std::uint64_t kJitterStream = 2;
constexpr std::uint64_t kLossStream = 3;

/// Share of the step at which the cubic through both ends reaches `angle`, 0 to 1 (Newton from the straight line).
double crossing(const SensorStep& s, double angle) noexcept {
    const double rise = s.next_angle_rad - s.angle_rad;
    const double s0 = s.speed_rad_s * s.step_s;
    const double s1 = s.next_speed_rad_s * s.step_s;
    const double c2 = 3.0 * rise - 2.0 * s0 - s1;
    const double c3 = s0 + s1 - 2.0 * rise;
    const double wanted = angle - s.angle_rad;
    double t = wanted / rise;
    for (int i = 0; i < 6; ++i) {
        const double slope = s0 + t * (2.0 * c2 + 3.0 * t * c3);
        if (!(slope > 1e-3 * rise)) break;  // the shaft all but turns back within the step; the line must do
        t = std::clamp(t - (t * (s0 + t * (c2 + t * c3)) - wanted) / slope, 0.0, 1.0);
    }
    return t;
}

}  // namespace

void WheelSensor::Track::advance() noexcept {
    if (++next == angle_rad.size()) {
        next = 0;
        base_rad += period_rad;
    }
}

void WheelSensor::Track::start(double angle) noexcept {
    if (angle_rad.empty()) return;
    base_rad = std::floor((angle - angle_rad.front()) / period_rad) * period_rad;
    next = 0;
    while (next_rad() <= angle) advance();
}

WheelSensor::WheelSensor(const Scenario& scenario)
    : error_(scenario.wheel_error), jitter_(scenario.seed, kJitterStream), loss_(scenario.seed, kLossStream) {
    make_teeth(scenario);
    crank_.period_rad = 2.0 * portable::kPi;
    for (double angle : true_deg_) crank_.angle_rad.push_back((angle - scenario.crank_wheel.tdc1_deg) * kRadPerDeg);
    cam_.period_rad = scenario.engine.cycle_deg() * kRadPerDeg;
    for (int i = 0; i < scenario.cam_wheel.edges; ++i)
        cam_.angle_rad.push_back((scenario.cam_wheel.edge_deg[static_cast<std::size_t>(i)] + error_.cam_deg) *
                                 kRadPerDeg);
}

void WheelSensor::make_teeth(const Scenario& scenario) {
    const WheelConfig& wheel = scenario.crank_wheel;
    const auto teeth = static_cast<std::size_t>(wheel.teeth);
    // Evenly spaced places are computed anew: the table of the configuration is rounded to float.
    for (std::size_t i = 0; i < teeth; ++i) {
        const double angle = static_cast<double>(wheel.angle_deg[i]);
        const double pitch = wheel.positions > 0 ? 360.0 / wheel.positions : 0.0;
        true_deg_.push_back(pitch > 0.0 ? std::floor(angle / pitch + 0.5) * pitch : angle);
    }
    double widest = 0.0;
    double narrowest = 360.0;
    for (std::size_t i = 0; i < teeth; ++i) {
        const double space = i > 0 ? true_deg_[i] - true_deg_[i - 1] : true_deg_[0] + 360.0 - true_deg_.back();
        if (space > widest + 1e-6) {
            widest = space;
            after_gap_ = i;
        }
        narrowest = std::min(narrowest, space);
    }
    pitch_rad_ = narrowest * kRadPerDeg;
    Random random(machine_seed(scenario), kToothStream);
    const double phase = 2.0 * portable::kPi * random.uniform();
    for (std::size_t i = 0; i < teeth; ++i) {
        const double nominal = true_deg_[i];
        true_deg_[i] +=
            error_.pitch_deg * random.normal() + error_.run_out_deg * portable::sin(nominal * kRadPerDeg + phase);
        if (i == after_gap_) true_deg_[i] += error_.gap_shift_pitch * narrowest;
    }
}

void WheelSensor::start(double angle_rad) {
    crank_.start(angle_rad);
    cam_.start(angle_rad);
}

void WheelSensor::rebase(double angle_rad) noexcept {
    crank_.base_rad -= angle_rad;
    cam_.base_rad -= angle_rad;
}

void WheelSensor::step(const SensorStep& s, std::vector<SimulatedEdge>& edges) {
    const auto speed_at = [&](double t) { return s.speed_rad_s + t * (s.next_speed_rad_s - s.speed_rad_s); };
    while (!crank_.angle_rad.empty() && crank_.next_rad() <= s.next_angle_rad) {
        const double t = crossing(s, crank_.next_rad());
        emit_crank(s.start_s + t * s.step_s, speed_at(t), crank_.next, edges);
        crank_.advance();
    }
    while (!cam_.angle_rad.empty() && cam_.next_rad() <= s.next_angle_rad) {
        const double t = crossing(s, cam_.next_rad());
        const double jitter = jitter_.normal() * (error_.jitter_s + error_.jitter_deg * kRadPerDeg / speed_at(t));
        edges.push_back({s.start_s + t * s.step_s + jitter, Signal::cam, static_cast<std::int32_t>(cam_.next)});
        cam_.advance();
    }
}

void WheelSensor::emit_crank(double time_s, double speed_rad_s, std::size_t tooth, std::vector<SimulatedEdge>& edges) {
    // The number of draws per tooth is fixed: one setting does not change what the others draw.
    const double by_angle = jitter_.normal();
    const double by_time = jitter_.normal();
    const double loss = loss_.uniform();
    const double extra = loss_.uniform();
    const double extra_place = loss_.uniform();
    const double weak = loss_.uniform();
    if (tooth == after_gap_) weak_now_ = weak < error_.weak_tooth;
    const bool lost = loss < error_.missed || (tooth == after_gap_ && weak_now_);
    const double jitter = by_angle * error_.jitter_deg * kRadPerDeg / speed_rad_s + by_time * error_.jitter_s;
    if (!lost) edges.push_back({time_s + jitter, Signal::crank, static_cast<std::int32_t>(tooth)});
    if (extra < error_.extra) edges.push_back({time_s + extra_place * pitch_rad_ / speed_rad_s, Signal::crank, -1});
}

CapturedEdges capture(std::vector<SimulatedEdge>& edges, const TimerConfig& timer) {
    std::stable_sort(edges.begin(), edges.end(),
                     [](const SimulatedEdge& a, const SimulatedEdge& b) { return a.time_s < b.time_s; });
    CapturedEdges result;
    result.tick.reserve(edges.size());
    result.signal.reserve(edges.size());
    const std::int64_t range = timer.bits > 0 ? std::int64_t{1} << timer.bits : 0;
    for (const SimulatedEdge& edge : edges) {
        const auto tick = static_cast<std::int64_t>(std::floor(std::max(0.0, edge.time_s) * timer.hz));
        if (range > 0 && result.tick.empty())
            result.clock_shift_s = static_cast<double>(tick - tick % range) / timer.hz;
        result.tick.push_back(range > 0 ? tick % range : tick);
        result.signal.push_back(static_cast<std::uint8_t>(edge.signal));
    }
    return result;
}

}  // namespace kurbel::simulate
