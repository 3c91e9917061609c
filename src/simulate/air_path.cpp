#include "kurbel/simulate/air_path.hpp"

#include <algorithm>
#include <cmath>

namespace kurbel::simulate {

namespace {

constexpr double kGasConstant = 287.0;  // air, J/(kg K)
constexpr double kGamma = 1.4;
constexpr double kCritical = 0.5282817877171742;       // (2/(gamma + 1))^(gamma/(gamma - 1))
constexpr double kMostRise = 5e5;                      // Pa; no engine breathes against more
constexpr double kStraight = 0.985;                    // from here on the curve is replaced by a line
constexpr double kStraightFlow = 0.17180762100695782;  // its value there

}  // namespace

double orifice_flow(double ratio) noexcept {
    if (ratio >= 1.0) return 0.0;
    if (ratio > kStraight) return kStraightFlow * (1.0 - ratio) / (1.0 - kStraight);
    const double r = std::max(ratio, kCritical);
    const double drop = 1.0 - portable::pow(r, (kGamma - 1.0) / kGamma);
    return portable::pow(r, 1.0 / kGamma) * std::sqrt(2.0 * kGamma / (kGamma - 1.0) * drop);
}

AirPath::AirPath(const Scenario& scenario, const CylinderModel& cylinder)
    : cylinder_(cylinder),
      settings_(scenario.manifold),
      ambient_pa_(cylinder.ambient_pa()),
      egr_(scenario.combustion.egr),
      throttled_(scenario.combustion.throttled),
      exhaust_pa_s2_kg2_(1e5 * scenario.gas_exchange.exhaust_bar_s2_per_kg2),
      volume_m3_(1e-3 * scenario.manifold.volume_l),
      full_m2_(1e-6 * scenario.manifold.throttle_mm2),
      root_rt_(std::sqrt(kGasConstant * scenario.manifold.gas_k)),
      pa_(ambient_pa_) {}

double AirPath::supply_pa(double time_s) const noexcept {
    return std::max(0.1 * ambient_pa_, ambient_pa_ + 1e5 * settings_.boost_bar.at(time_s));
}

double AirPath::taken_kg_s(double pa, double speed_rad_s, int cylinders) const noexcept {
    const double speed = std::max(0.0, speed_rad_s);
    const double fresh = (1.0 - cylinder_.residual(pa, exhaust_rise_pa_, speed)) * (1.0 - egr_);
    return cylinders * cylinder_.air_kg(pa, fresh) * speed / cylinder_.cycle_rad();
}

double AirPath::wanted_m2(const Demand& demand) const noexcept {
    if (!throttled_) return full_m2_;
    if (!settings_.throttle.empty()) return full_m2_ * settings_.throttle.at(demand.time_s);
    const double supply = supply_pa(demand.time_s);
    const double wanted_pa = demand.load * ambient_pa_;
    const double flow = orifice_flow(wanted_pa / supply);
    const double needed = taken_kg_s(wanted_pa, demand.reference_rad_s, demand.open_cylinders) * root_rt_ / supply;
    return needed < flow * full_m2_ ? needed / flow : full_m2_;
}

double AirPath::rate_pa_s(double pa, const Demand& demand) const noexcept {
    const double supply = supply_pa(demand.time_s);
    // Where boost falls faster than the cylinders empty the plenum, it flows back.
    const double in = pa <= supply ? supply * orifice_flow(pa / supply) : -pa * orifice_flow(supply / pa);
    const double flow = area_m2_ * in / root_rt_;
    return root_rt_ * root_rt_ / volume_m3_ * (flow - taken_kg_s(pa, demand.speed_rad_s, demand.open_cylinders));
}

void AirPath::breathe(const Demand& demand) noexcept {
    if (exhaust_pa_s2_kg2_ <= 0.0 && !has_plenum()) return;
    taken_kg_s_ = taken_kg_s(pa_, demand.speed_rad_s, demand.open_cylinders);
    exhaust_rise_pa_ = std::min(exhaust_pa_s2_kg2_ * taken_kg_s_ * taken_kg_s_, kMostRise);
}

void AirPath::balance(const Demand& demand) noexcept {
    double low = 0.01 * ambient_pa_;
    double high = supply_pa(demand.time_s);
    for (int i = 0; i < 60; ++i) {
        pa_ = 0.5 * (low + high);
        (rate_pa_s(pa_, demand) > 0.0 ? low : high) = pa_;
    }
    pa_s_ = 0.0;
}

void AirPath::settle(const Demand& demand) noexcept {
    pa_ = throttled_ ? demand.load * ambient_pa_ : ambient_pa_;
    if (has_plenum()) {
        area_m2_ = wanted_m2(demand);
        balance(demand);
    }
    breathe(demand);
}

void AirPath::rest(const Demand& demand) noexcept {
    pa_ = ambient_pa_;
    pa_s_ = 0.0;
    area_m2_ = has_plenum() ? wanted_m2(demand) : 0.0;
}

void AirPath::update(const Demand& demand, double step_s) noexcept {
    if (!has_plenum()) {
        pa_ = throttled_ ? demand.load * ambient_pa_ : ambient_pa_;
        breathe(demand);
        return;
    }
    area_m2_ += (wanted_m2(demand) - area_m2_) * step_s / (settings_.actuator_s + step_s);
    // Stiffest where the throttle hardly hinders: there the plenum follows within V/(A sqrt(R T) slope).
    const double emptied = demand.open_cylinders * cylinder_.air_kg(1.0, 1.0) * std::fabs(demand.speed_rad_s) /
                           cylinder_.cycle_rad() * root_rt_ * root_rt_;
    const double fastest = (area_m2_ * root_rt_ * kStraightFlow / (1.0 - kStraight) + emptied) / volume_m3_;
    if (2.0 * step_s * fastest > 500.0) {  // a plenum of next to nothing behind a barn door is always in balance
        balance(demand);
        breathe(demand);
        return;
    }
    const int parts = std::max(1, static_cast<int>(std::ceil(2.0 * step_s * fastest)));
    const double h = step_s / parts;
    for (int i = 0; i < parts; ++i) {
        const double k1 = rate_pa_s(pa_, demand);
        const double k2 = rate_pa_s(pa_ + 0.5 * h * k1, demand);
        const double k3 = rate_pa_s(pa_ + 0.5 * h * k2, demand);
        const double k4 = rate_pa_s(pa_ + h * k3, demand);
        pa_ += h / 6.0 * (k1 + 2.0 * (k2 + k3) + k4);
    }
    pa_s_ = rate_pa_s(pa_, demand);
    breathe(demand);
}

}  // namespace kurbel::simulate
