#include "kurbel/simulate/wheel.hpp"

#include <algorithm>
#include <cmath>

namespace kurbel::simulate {

namespace {

constexpr double kRadPerDeg = portable::kPi / 180.0;
constexpr std::uint64_t kToothStream = 1;
constexpr std::uint64_t kJitterStream = 2;
constexpr std::uint64_t kLossStream = 3;
constexpr std::uint64_t kFaultStream = 40;
constexpr std::uint64_t kChatterStream = 41;
constexpr std::uint64_t kBackwardsStream = 42;
constexpr std::uint64_t kNoiseStream = 43;
constexpr std::uint64_t kCamStream = 44;
constexpr std::uint64_t kSensorStream = 45;
constexpr std::uint64_t kHumStream = 47;
constexpr double kLeastSpeed_rad_s = 1e-3;
constexpr double kSettled_s = 1e-11;      ///< a zero crossing is found
constexpr double kLeastSpace_deg = 0.01;  ///< between teeth that errors have moved

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

void WheelSensor::Track::retreat() noexcept {
    if (next == 0) {
        next = angle_rad.size();
        base_rad -= period_rad;
    }
    --next;
}

void WheelSensor::Track::start(double angle) noexcept {
    if (angle_rad.empty()) return;
    base_rad = std::floor((angle - angle_rad.front()) / period_rad) * period_rad;
    next = 0;
    while (next_rad() <= angle) advance();
}

WheelSensor::WheelSensor(const Scenario& scenario)
    : error_(scenario.wheel_error),
      sensor_(scenario.sensor),
      cam_error_(scenario.cam_error),
      tdc1_rad_(scenario.crank_wheel.tdc1_deg * kRadPerDeg),
      jitter_(scenario.seed, kJitterStream),
      loss_(scenario.seed, kLossStream),
      fault_(scenario.seed, kFaultStream),
      chatter_(scenario.seed, kChatterStream),
      backwards_(scenario.seed, kBackwardsStream),
      noise_(scenario.seed, kNoiseStream),
      cam_loss_(scenario.seed, kCamStream) {
    make_teeth(scenario);
    if (sensor_.kind == SensorKind::inductive) make_waveform(scenario);
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
    const double pitch = wheel.positions > 0 ? 360.0 / wheel.positions : 0.0;
    for (std::size_t i = 0; i < teeth; ++i) {
        const double angle = static_cast<double>(wheel.angle_deg[i]);
        true_deg_.push_back(pitch > 0.0 ? std::floor(angle / pitch + 0.5) * pitch : angle);
    }
    std::vector<double> space(teeth);  // from the tooth before
    double widest = 0.0;
    double narrowest = 360.0;
    for (std::size_t i = 0; i < teeth; ++i) {
        space[i] = i > 0 ? true_deg_[i] - true_deg_[i - 1] : true_deg_[0] + 360.0 - true_deg_.back();
        if (space[i] > widest + 1e-6) {
            widest = space[i];
            after_gap_ = i;
        }
        narrowest = std::min(narrowest, space[i]);
    }
    pitch_rad_ = narrowest * kRadPerDeg;
    fault_missed_.assign(teeth, 0.0);
    height_.assign(teeth, 1.0);
    height_[after_gap_] = sensor_.first_tooth_height;
    for (std::size_t i = 0; i < teeth; ++i)
        width_rad_.push_back(sensor_.tooth_share * std::min(space[i], space[i + 1 < teeth ? i + 1 : 0]) * kRadPerDeg);
    Random random(machine_seed(scenario), kToothStream);
    const double phase = 2.0 * portable::kPi * random.uniform();
    for (std::size_t i = 0; i < teeth; ++i) {
        const double nominal = true_deg_[i];
        for (const ToothFault& fault : scenario.tooth_faults) {
            const double place = pitch > 0.0 ? nominal / pitch : static_cast<double>(i);
            if (std::fabs(place - fault.place) > 0.5) continue;
            true_deg_[i] += fault.bent_deg;
            fault_missed_[i] = std::max(fault_missed_[i], fault.missed);
            height_[i] *= fault.height;
        }
        true_deg_[i] +=
            error_.pitch_deg * random.normal() + error_.run_out_deg * portable::sin(nominal * kRadPerDeg + phase);
        if (i == after_gap_) true_deg_[i] += error_.gap_shift_pitch * narrowest;
        if (i > 0) true_deg_[i] = std::max(true_deg_[i], true_deg_[i - 1] + kLeastSpace_deg);
    }
}

void WheelSensor::make_waveform(const Scenario& scenario) {
    Random random(machine_seed(scenario), kSensorStream);
    const double phase = 2.0 * portable::kPi * random.uniform();
    hum_phase_rad_ = 2.0 * portable::kPi * Random(scenario.seed, kHumStream).uniform();
    std::vector<InductiveWheel::Tooth> teeth;
    for (std::size_t i = 0; i < true_deg_.size(); ++i) {
        const double angle = true_deg_[i] * kRadPerDeg;
        const double gap_mm = sensor_.gap_mm + sensor_.eccentricity_mm * portable::sin(angle + phase);
        teeth.push_back({angle, width_rad_[i], height_[i], std::max(gap_mm, 0.05)});
    }
    coil_ = InductiveWheel(sensor_, teeth, (after_gap_ + teeth.size() / 2) % teeth.size());
    for (std::size_t i = 0; i < true_deg_.size(); ++i) true_deg_[i] = coil_.pulses()[i].edge_rad / kRadPerDeg;
}

void WheelSensor::start(double angle_rad) {
    crank_.start(angle_rad);
    cam_.start(angle_rad);
}

void WheelSensor::rebase(double angle_rad) noexcept {
    crank_.base_rad -= angle_rad;
    cam_.base_rad -= angle_rad;
}

double WheelSensor::cam_late_rad(double time_s) const noexcept {
    return cam_error_.late_deg.empty() ? 0.0 : cam_error_.late_deg.at(time_s) * kRadPerDeg;
}

void WheelSensor::step(const SensorStep& s, std::vector<SimulatedEdge>& edges) {
    if (s.next_angle_rad < s.angle_rad) {
        step_back(s, edges);
        return;
    }
    // A shaft that all but stands would make an angle's jitter endless.
    const auto speed_at = [&](double t) {
        return std::max(s.speed_rad_s + t * (s.next_speed_rad_s - s.speed_rad_s), kLeastSpeed_rad_s);
    };
    while (!crank_.angle_rad.empty() && crank_.next_rad() <= s.next_angle_rad) {
        const double t = crossing(s, crank_.next_rad());
        emit_crank(s.start_s + t * s.step_s, speed_at(t), crank_.next, edges);
        crank_.advance();
    }
    const double late = cam_late_rad(s.start_s);
    while (!cam_.angle_rad.empty() && cam_.next_rad() + late <= s.next_angle_rad) {
        // A phaser that turns back may take an edge along that it had just passed.
        const double t = crossing(s, std::max(cam_.next_rad() + late, s.angle_rad));
        emit_cam(s.start_s + t * s.step_s, speed_at(t), edges);
        cam_.advance();
    }
}

/// The shaft swings back: the place in the period goes back with it, and teeth are met from behind.
void WheelSensor::step_back(const SensorStep& s, std::vector<SimulatedEdge>& edges) {
    const double rise = s.next_angle_rad - s.angle_rad;
    const double speed = std::max(std::fabs(0.5 * (s.speed_rad_s + s.next_speed_rad_s)), kLeastSpeed_rad_s);
    while (!crank_.angle_rad.empty()) {
        crank_.retreat();
        const bool coil = sensor_.kind == SensorKind::inductive;
        const double far_side = crank_.next_rad() + (coil ? 0.0 : width_rad_[crank_.next]);
        if (far_side < s.angle_rad && far_side >= s.next_angle_rad)
            emit_backwards(s.start_s + s.step_s * (far_side - s.angle_rad) / rise, speed, crank_.next, edges);
        if (crank_.next_rad() > s.next_angle_rad) continue;
        crank_.advance();
        break;
    }
    const double late = cam_late_rad(s.start_s);
    while (!cam_.angle_rad.empty()) {
        cam_.retreat();
        if (cam_.next_rad() + late > s.next_angle_rad) continue;
        cam_.advance();
        break;
    }
}

double WheelSensor::hum(double time_s) const noexcept {
    const double turns = time_s * sensor_.hum_hz;
    return sensor_.hum_v * portable::sin(2.0 * portable::kPi * (turns - std::floor(turns)) + hum_phase_rad_);
}

double WheelSensor::volts(double angle_rad, double speed_rad_s, double time_s) const noexcept {
    if (sensor_.kind == SensorKind::inductive) return speed_rad_s * coil_.volts_at(angle_rad + tdc1_rad_) + hum(time_s);
    constexpr double kHigh_v = 5.0;
    const double turn = 2.0 * portable::kPi;
    const double first = crank_.angle_rad.front();
    const double angle = angle_rad - turn * std::floor((angle_rad - first) / turn);  // within a turn from tooth 0 on
    const auto after = std::upper_bound(crank_.angle_rad.begin(), crank_.angle_rad.end(), angle);
    const auto tooth = static_cast<std::size_t>(after - crank_.angle_rad.begin()) - 1;
    return angle < crank_.angle_rad[tooth] + width_rad_[tooth] ? kHigh_v : 0.0;
}

bool WheelSensor::sensed(double time_s, double speed_rad_s, std::size_t tooth, double& shift_s) {
    const InductiveWheel::Pulse& pulse = coil_.pulses()[tooth];
    const double at_peak = sensor_.noise_v * noise_.normal();
    const double at_edge = sensor_.noise_v * noise_.normal();
    const double speed = std::fabs(speed_rad_s);
    const double quarter_s = 0.5 * width_rad_[tooth] / speed;  // the half-wave's peak stands about there
    const double peak = speed * (speed_rad_s < 0.0 ? pulse.behind : pulse.ahead) + at_peak +
                        (sensor_.hum_v > 0.0 ? hum(time_s - quarter_s) : 0.0);
    const bool armed = pulse.present && peak >= std::max(sensor_.arm_v, sensor_.arm_share * last_peak_v_);
    last_peak_v_ = std::max(peak, 0.0);
    if (!armed) return false;
    const double most = 0.4 * pitch_rad_ / speed;
    double shift = -at_edge / (speed * speed * pulse.slope);
    if (sensor_.hum_v > 0.0) {
        // Zero of coil voltage plus hum plus noise, by Newton with the coil's own slope; the speed stands still meanwhile.
        for (int i = 0; i < 20; ++i) {
            const double volts =
                speed * coil_.volts_near(tooth, pulse.edge_rad + speed * shift) + hum(time_s + shift) + at_edge;
            const double next = std::clamp(shift - volts / (speed * speed * pulse.slope), -most, most);
            const bool settled = std::fabs(next - shift) < kSettled_s;
            shift = next;
            if (settled) break;
        }
    }
    shift_s = std::clamp(shift, -most, most);
    return true;
}

bool WheelSensor::faulty_tooth_misses(std::size_t tooth) {
    return fault_missed_[tooth] > 0.0 && fault_.uniform() < fault_missed_[tooth];
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
    bool lost = loss < error_.missed || (tooth == after_gap_ && weak_now_);
    if (faulty_tooth_misses(tooth)) lost = true;
    double shift_s = 0.0;
    if (sensor_.kind == SensorKind::inductive && !sensed(time_s, speed_rad_s, tooth, shift_s)) lost = true;
    const double jitter = by_angle * error_.jitter_deg * kRadPerDeg / speed_rad_s + by_time * error_.jitter_s;
    if (!lost) edges.push_back({time_s + jitter + shift_s, Signal::crank, static_cast<std::int32_t>(tooth)});
    if (!lost && error_.chatter > 0.0) chatter(time_s, edges);
    if (extra < error_.extra) edges.push_back({time_s + extra_place * pitch_rad_ / speed_rad_s, Signal::crank, -1});
}

void WheelSensor::emit_backwards(double time_s, double speed_rad_s, std::size_t tooth,
                                 std::vector<SimulatedEdge>& edges) {
    const double jitter =
        error_.jitter_deg * kRadPerDeg / speed_rad_s * backwards_.normal() + error_.jitter_s * backwards_.normal();
    bool lost = backwards_.uniform() < error_.missed;
    if (faulty_tooth_misses(tooth)) lost = true;
    double shift_s = 0.0;
    if (sensor_.kind == SensorKind::inductive && !sensed(time_s, -speed_rad_s, tooth, shift_s)) lost = true;
    if (!lost) edges.push_back({time_s + jitter + shift_s, Signal::crank, static_cast<std::int32_t>(tooth)});
}

void WheelSensor::emit_cam(double time_s, double speed_rad_s, std::vector<SimulatedEdge>& edges) {
    const double jitter = jitter_.normal() * (error_.jitter_s + error_.jitter_deg * kRadPerDeg / speed_rad_s);
    if (cam_error_.missed > 0.0 && cam_loss_.uniform() < cam_error_.missed) return;
    edges.push_back({time_s + jitter, Signal::cam, static_cast<std::int32_t>(cam_.next)});
}

void WheelSensor::chatter(double time_s, std::vector<SimulatedEdge>& edges) {
    const bool bounces = chatter_.uniform() < error_.chatter;
    const int more = 1 + static_cast<int>(3.0 * chatter_.uniform());
    for (int i = 0; i < 3; ++i) {
        const double later = error_.chatter_s * chatter_.uniform();
        if (bounces && i < more) edges.push_back({time_s + later, Signal::crank, -1});
    }
}

}  // namespace kurbel::simulate
