#include "kurbel/simulate/starting.hpp"

#include <algorithm>

#include "kurbel/simulate/portable_math.hpp"

namespace kurbel::simulate {

namespace {

constexpr double kRadPerRpm = portable::kPi / 30.0;

}  // namespace

int Starting::window(double time_s) const noexcept {
    const StarterSettings& starter = scenario_.starter;
    if (starter.engage.empty()) return time_s >= starter.from_s && time_s < starter.to_s ? 0 : -1;
    for (std::size_t i = 0; i < starter.engage.size(); ++i)
        if (time_s >= starter.engage[i].first && time_s < starter.engage[i].second) return static_cast<int>(i);
    return -1;
}

double Starting::gain() const noexcept {
    const StarterSettings& s = scenario_.starter;
    return s.stall_a > 0.0 ? 1.0 / (1.0 + s.battery_ohm * s.stall_a / s.rated_v) : 1.0;
}

double Starting::level() const noexcept {
    const StarterSettings& s = scenario_.starter;
    return s.stall_a > 0.0 ? (s.battery_v - sag_v_) / s.rated_v : 1.0;
}

double Starting::current_a(double speed_rad_s) const noexcept {
    const StarterSettings& s = scenario_.starter;
    if (!engaged_) return 0.0;
    return s.stall_a * gain() * std::max(0.0, level() - speed_rad_s / (s.free_rpm * kRadPerRpm));
}

double Starting::battery_v(double speed_rad_s) const noexcept {
    const StarterSettings& s = scenario_.starter;
    if (s.stall_a <= 0.0) return 0.0;
    return s.battery_v - sag_v_ - s.battery_ohm * current_a(speed_rad_s);
}

void Starting::turn_key(double time_s, double angle_rad, double speed_rpm) noexcept {
    const StartSettings& start = scenario_.start;
    const int now = window(time_s);
    if (now != window_) {
        released_ = false;
        if (now >= 0) {
            engaged_at_rad_ = angle_rad;
            if (speed_rpm < start.stall_rpm) running_ = false;
        }
        window_ = now;
    }
    if (speed_rpm > start.release_rpm) released_ = true;
    engaged_ = now >= 0 && !released_;
    const double turns = (angle_rad - engaged_at_rad_) / (2.0 * portable::kPi);
    if (running_) {
        running_ = engaged_ || speed_rpm > start.stall_rpm;
        no_fuel_ = !running_;
        return;
    }
    no_fuel_ = now < 0 || turns < start.fuel_after_turns || time_s < start.fuel_from_s;
    running_ = !no_fuel_ && speed_rpm > start.run_rpm;
}

void Starting::control_spark(double time_s, double step_s, double speed_rpm) noexcept {
    const IdleSparkSettings& spark = scenario_.idle_spark;
    const Operation mode = scenario_.operation.mode;
    governs_spark_ = mode == Operation::neutral || (mode == Operation::start && running_);
    if (filtered_rpm_ < 0.0) filtered_rpm_ = speed_rpm;
    if (step_s > 0.0) filtered_rpm_ += (speed_rpm - filtered_rpm_) * step_s / (spark.filter_s + step_s);
    const double below = scenario_.operation.speed_rpm.at(time_s) - filtered_rpm_;
    spark_deg_ =
        governs_spark_ ? std::clamp(spark.reserve_deg - spark.gain_deg_per_rpm * below, 0.0, spark.most_deg) : 0.0;
}

void Starting::update(double time_s, double step_s, double angle_rad, double speed_rad_s) noexcept {
    const StarterSettings& starter = scenario_.starter;
    const Operation mode = scenario_.operation.mode;
    if (mode == Operation::start)
        turn_key(time_s, angle_rad, speed_rad_s / kRadPerRpm);
    else
        engaged_ = mode == Operation::cranking && window(time_s) >= 0;
    if (starter.stall_a > 0.0)
        sag_v_ += (starter.sag_ohm * current_a(speed_rad_s) - sag_v_) * step_s / (starter.sag_s + step_s);
    if (scenario_.idle_spark.gain_deg_per_rpm > 0.0) control_spark(time_s, step_s, speed_rad_s / kRadPerRpm);
}

}  // namespace kurbel::simulate
