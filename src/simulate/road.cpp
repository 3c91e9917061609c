#include "kurbel/simulate/road.hpp"

#include <algorithm>
#include <cmath>

#include "simulate/streams.hpp"

namespace kurbel::simulate {

namespace {

constexpr double kTwoPi = 2.0 * portable::kPi;
constexpr double kGravity = 9.81;
constexpr double kReferenceCyclesPerM = 0.1;
constexpr double kLowestCyclesPerM = 0.01;
constexpr double kFadeS = 0.25;
constexpr int kHopSteps = 4;  // per control step

double half_cosine(double x) noexcept { return 0.5 - 0.5 * portable::cos(portable::kPi * std::clamp(x, 0.0, 1.0)); }

}  // namespace

RoadProfile::RoadProfile(const RoadSettings& settings, std::uint64_t seed) noexcept
    : settings_(settings),
      random_(seed, stream::kRoad),
      keep_(portable::exp(-kTwoPi * kLowestCyclesPerM * kStepM)),
      // The slope's one-sided density is (2 pi n0)^2 G(n0) at every wave number, half of which falls on each step's square.
      deviation_(kTwoPi * kReferenceCyclesPerM * std::sqrt(0.5 * settings.roughness_m3 * kStepM)) {}

double RoadProfile::next() noexcept {
    const double way = static_cast<double>(step_++) * kStepM;
    switch (settings_.kind) {
        case RoadKind::smooth: return 0.0;
        case RoadKind::washboard: {
            const double waves = way / settings_.wavelength_m;
            return 0.5 * settings_.height_m * portable::sin(kTwoPi * (waves - std::floor(waves)));
        }
        case RoadKind::pothole: {
            // The first lies half a distance ahead.
            const double from_start = way - 0.5 * settings_.every_m;
            const double at = from_start - settings_.every_m * std::floor(from_start / settings_.every_m);
            const double in = half_cosine(at / settings_.edge_m);
            const double out = half_cosine((at - settings_.length_m + settings_.edge_m) / settings_.edge_m);
            return from_start < 0.0 ? 0.0 : -settings_.height_m * (in - out);
        }
        case RoadKind::random: break;
    }
    height_m_ = keep_ * height_m_ + deviation_ * random_.normal();
    return height_m_;
}

RoadWheel::RoadWheel(const Scenario& scenario)
    : settings_(scenario.road),
      profile_(scenario.road, scenario.seed),
      static_n_(scenario.tyre.axle_kg * kGravity),
      rolling_share_(scenario.driveline.rolling_n / (scenario.driveline.vehicle_kg * kGravity)),
      wheel_radius_m_(scenario.driveline.wheel_radius_m),
      hub_n_m_(scenario.road.unsprung_kg * kTwoPi * scenario.road.hub_hz * kTwoPi * scenario.road.hub_hz),
      hub_n_s_m_(2.0 * scenario.road.hub_damping * kTwoPi * scenario.road.hub_hz * scenario.road.unsprung_kg),
      body_kg_(scenario.tyre.axle_kg - scenario.road.unsprung_kg) {
    if (!rough()) return;
    const auto under = std::max(1LL, std::llround(settings_.patch_m / RoadProfile::kStepM));
    under_.assign(static_cast<std::size_t>(under) + 2, 0.0);
}

/// Lays the road under the wheel up to the step of way beyond `way_m`.
void RoadWheel::roll_to(double way_m) noexcept {
    const auto wanted = static_cast<long long>(std::floor(way_m / RoadProfile::kStepM)) + 2;
    for (; laid_ < wanted; ++laid_) {
        under_[oldest_] = profile_.next();
        if (++oldest_ == under_.size()) oldest_ = 0;
    }
    way_m_ = way_m;
}

double RoadWheel::deflection_m(const Hop& at, double height_m) const noexcept {
    return std::max(height_m - at.wheel_m, -static_n_ / settings_.tyre_n_m);
}

RoadWheel::Hop RoadWheel::rate(const Hop& at, double height_m) const noexcept {
    const double suspension =
        settings_.suspension_n_m * (at.wheel_m - at.body_m) + settings_.suspension_n_s_m * (at.wheel_m_s - at.body_m_s);
    Hop rate;
    rate.wheel_m = at.wheel_m_s;
    rate.body_m = at.body_m_s;
    rate.wheel_m_s = (settings_.tyre_n_m * deflection_m(at, height_m) - suspension) / settings_.unsprung_kg;
    rate.body_m_s = suspension / body_kg_;
    return rate;
}

/// Midpoint rule: second order, and the step is a fiftieth of a hop's period or less.
void RoadWheel::hop(double step_s, double height_m) noexcept {
    const auto moved = [](const Hop& from, const Hop& rate, double time_s) {
        return Hop{from.wheel_m + time_s * rate.wheel_m, from.wheel_m_s + time_s * rate.wheel_m_s,
                   from.body_m + time_s * rate.body_m, from.body_m_s + time_s * rate.body_m_s};
    };
    const Hop middle = moved(hop_, rate(hop_, height_m), 0.5 * step_s);
    hop_ = moved(hop_, rate(middle, height_m), step_s);
}

/// Height and slope of the road between its steps of way (straight lines), averaged over the contact length, whose front end
/// lies between the two newest steps and whose rear end between the two oldest: both change without a jump.
RoadWheel::Ground RoadWheel::ground() const noexcept {
    const std::size_t size = under_.size();
    const auto nth = [&](std::size_t i) { return under_[(oldest_ + i) % size]; };
    const double share = way_m_ / RoadProfile::kStepM - std::floor(way_m_ / RoadProfile::kStepM);
    const auto count = static_cast<double>(size - 2);
    double sum = 0.5 * (nth(0) + nth(size - 2));
    for (std::size_t i = 1; i + 2 < size; ++i) sum += nth(i);
    const double front = share * (nth(size - 2) + 0.5 * share * (nth(size - 1) - nth(size - 2)));
    const double rear = share * (nth(0) + 0.5 * share * (nth(1) - nth(0)));
    const double front_end = nth(size - 2) + share * (nth(size - 1) - nth(size - 2));
    const double rear_end = nth(0) + share * (nth(1) - nth(0));
    return {(sum + front - rear) / count, (front_end - rear_end) / (count * RoadProfile::kStepM)};
}

void RoadWheel::advance(double time_s, double step_s, double vehicle_m_s) noexcept {
    const double fade = std::clamp(std::min(time_s - settings_.from_s, settings_.to_s - time_s) / kFadeS, 0.0, 1.0);
    const double hop_s = step_s / kHopSteps;
    const double half_way_m = 0.5 * std::max(0.0, vehicle_m_s) * hop_s;
    for (int i = 0; i < kHopSteps; ++i) {
        roll_to(way_m_ + half_way_m);
        hop(hop_s, fade * ground().height_m);
        roll_to(way_m_ + half_way_m);
    }
    const Ground now = ground();
    const double deflection = deflection_m(hop_, fade * now.height_m);
    const double extra_n = settings_.tyre_n_m * deflection;
    now_.load_share = 1.0 + extra_n / static_n_;
    now_.radius_m = -settings_.radius_share * deflection;
    now_.arm_m = -deflection;
    now_.drag_nm = rolling_share_ * extra_n * wheel_radius_m_;
    now_.push_n = (static_n_ + extra_n) * fade * now.slope;
}

}  // namespace kurbel::simulate
