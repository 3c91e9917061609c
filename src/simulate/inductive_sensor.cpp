#include "kurbel/simulate/inductive_sensor.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "kurbel/simulate/portable_math.hpp"

namespace kurbel::simulate {

namespace {

constexpr double kTurn = 2.0 * portable::kPi;
constexpr double kRadPerRpm = portable::kPi / 30.0;
constexpr int kScan = 64;

}  // namespace

InductiveWheel::InductiveWheel(const SensorSettings& sensor, std::vector<Tooth> teeth, std::size_t ordinary)
    : radius_mm_(sensor.radius_mm),
      pole_mm_(sensor.pole_mm),
      spread_mm_(sensor.spread_mm),
      teeth_(std::move(teeth)),
      pulses_(teeth_.size()) {
    for (std::size_t i = 0; i < teeth_.size(); ++i) pulses_[i] = find(i);
    const double peak = pulses_[ordinary].ahead;
    if (!(peak > 0.0)) return;
    volts_ = sensor.volts_at_1000_rpm / (1000.0 * kRadPerRpm * peak);
    for (Pulse& pulse : pulses_) {
        pulse.slope *= volts_;
        pulse.ahead *= volts_;
        pulse.behind *= volts_;
    }
}

double InductiveWheel::of_tooth(const Tooth& tooth, double x) const noexcept {
    const double half = 0.5 * tooth.width_rad * radius_mm_;
    const double inverse = 1.0 / (tooth.gap_mm + spread_mm_);
    const auto flux = [&](double at) {
        return portable::atan((at + half) * inverse) - portable::atan((at - half) * inverse);
    };
    return tooth.height * (flux(x + 0.5 * pole_mm_) - flux(x - 0.5 * pole_mm_)) / (portable::kPi * pole_mm_);
}

double InductiveWheel::volts_near(std::size_t tooth, double angle_rad) const noexcept {
    const auto count = static_cast<int>(teeth_.size());
    double sum = 0.0;
    for (int k = -kNeighbours; k <= kNeighbours; ++k) {
        int other = static_cast<int>(tooth) + k;
        double turn = 0.0;
        for (; other < 0; other += count) turn -= kTurn;
        for (; other >= count; other -= count) turn += kTurn;
        const Tooth& one = teeth_[static_cast<std::size_t>(other)];
        sum += of_tooth(one, (angle_rad - one.centre_rad - turn) * radius_mm_);
    }
    return volts_ * sum;
}

double InductiveWheel::volts_at(double angle_rad) const noexcept {
    const double first = teeth_.front().centre_rad;
    const double angle = angle_rad - kTurn * std::floor((angle_rad - first) / kTurn);  // within a turn from tooth 0 on
    const auto after = std::upper_bound(teeth_.begin(), teeth_.end(), angle,
                                        [](double value, const Tooth& tooth) { return value < tooth.centre_rad; });
    const auto before = static_cast<std::size_t>(after - teeth_.begin()) - 1;
    const bool last = after == teeth_.end();
    const double next = last ? first + kTurn : after->centre_rad;
    if (angle - teeth_[before].centre_rad <= next - angle) return volts_near(before, angle);
    return last ? volts_near(0, angle - kTurn) : volts_near(before + 1, angle);
}

/// From the tooth before to `tooth`.
double InductiveWheel::space_rad(std::size_t tooth) const noexcept {
    return tooth > 0 ? teeth_[tooth].centre_rad - teeth_[tooth - 1].centre_rad
                     : teeth_[0].centre_rad + kTurn - teeth_.back().centre_rad;
}

/// Largest of sign * voltage between two angles: the best of a scan, then thirds.
double InductiveWheel::highest(std::size_t tooth, double from_rad, double to_rad, double sign) const noexcept {
    const auto value = [&](double angle) { return sign * volts_near(tooth, angle); };
    const double step = (to_rad - from_rad) / kScan;
    int best = 0;
    double most = value(from_rad);
    for (int i = 1; i <= kScan; ++i)
        if (const double here = value(from_rad + i * step); here > most) {
            most = here;
            best = i;
        }
    double low = from_rad + std::max(best - 1, 0) * step;
    double high = from_rad + std::min(best + 1, kScan) * step;
    for (int i = 0; i < 30; ++i) {
        const double a = low + (high - low) / 3.0;
        const double b = high - (high - low) / 3.0;
        (value(a) < value(b) ? low : high) = value(a) < value(b) ? a : b;
    }
    return std::max(most, value(0.5 * (low + high)));
}

InductiveWheel::Pulse InductiveWheel::find(std::size_t tooth) const noexcept {
    const double centre = teeth_[tooth].centre_rad;
    const double before = space_rad(tooth);
    const double after = space_rad(tooth + 1 < teeth_.size() ? tooth + 1 : 0);
    const double pitch = std::min(before, after);
    const double low_end = centre - std::min(0.5 * before, 0.75 * pitch);
    const double high_end = centre + std::min(0.5 * after, 0.75 * pitch);
    // The falling crossing that is steepest: a swallowed tooth has none.
    const double step = (high_end - low_end) / kScan;
    double from = 0.0;
    double drop = 0.0;
    double left = volts_near(tooth, low_end);
    for (int i = 1; i <= kScan; ++i) {
        const double right = volts_near(tooth, low_end + i * step);
        if (left > 0.0 && right <= 0.0 && left - right > drop) {
            drop = left - right;
            from = low_end + (i - 1) * step;
        }
        left = right;
    }
    Pulse pulse;
    pulse.edge_rad = centre;
    if (!(drop > 0.0)) return pulse;
    double low = from;
    double high = from + step;
    for (int i = 0; i < 60; ++i) {
        const double middle = 0.5 * (low + high);
        (volts_near(tooth, middle) > 0.0 ? low : high) = middle;
    }
    pulse.present = true;
    pulse.edge_rad = 0.5 * (low + high);
    const double h = 1e-3 * pitch;
    pulse.slope = (volts_near(tooth, pulse.edge_rad + h) - volts_near(tooth, pulse.edge_rad - h)) / (2.0 * h);
    pulse.ahead = highest(tooth, std::max(pulse.edge_rad - pitch, centre - 0.75 * before), pulse.edge_rad, 1.0);
    pulse.behind = highest(tooth, pulse.edge_rad, std::min(pulse.edge_rad + pitch, centre + 0.75 * after), -1.0);
    return pulse;
}

}  // namespace kurbel::simulate
