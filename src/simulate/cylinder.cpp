#include "kurbel/simulate/cylinder.hpp"

#include <algorithm>
#include <cmath>

#include "simulate/hermite.hpp"

namespace kurbel::simulate {

namespace {

constexpr double kRadPerDeg = portable::kPi / 180.0;
constexpr double kHalfTurn = portable::kPi;
constexpr double kTurn = 2.0 * portable::kPi;
constexpr double kGasConstant = 287.0;  // air, J/(kg K)
constexpr double kMostResidual = 0.6;

}  // namespace

CylinderModel::CylinderModel(const EngineConfig& engine, const CombustionSettings& combustion,
                             const GasExchangeSettings& gas)
    : geometry_(SliderCrank::from(engine)),
      cycle_rad_(engine.cycle_deg() * kRadPerDeg),
      reciprocating_kg_(engine.reciprocating_kg),
      ambient_pa_(1e5 * combustion.ambient_bar),
      exhaust_pa_(1e5 * (combustion.ambient_bar + gas.exhaust_bar)),
      flow_(gas.flow_pa_per_m2_s2),
      intake_closing_rad_(gas.intake_closing_deg * kRadPerDeg),
      exhaust_opening_rad_(gas.exhaust_opening_deg * kRadPerDeg),
      half_overlap_rad_(0.5 * gas.overlap_deg * kRadPerDeg),
      expansion_exponent_(combustion.expansion_exponent),
      compression_exponent_(combustion.compression_exponent),
      air_per_pa_(geometry_.displacement_m3() / (kGasConstant * combustion.charge_k)),
      heat_per_pa_(air_per_pa_ * combustion.heat_j_per_kg_air * combustion.heat_share),
      residual_share_(combustion.residual_share),
      overlap_factor_(gas.overlap_factor_deg_m),
      compression_ratio_(engine.compression_ratio),
      throttled_(combustion.throttled),
      nodes_(kSteps + 1) {
    const double step = kTurn / kSteps;
    const double vc = geometry_.clearance_m3;
    double leak = 0.0;
    double leak_rate_before = 0.0;
    constexpr int kTdcNode = kSteps / 2;
    for (int i = 0; i <= kSteps; ++i) {
        const double angle = (i - kTdcNode) * step;
        const PistonMotion motion = geometry_.motion(angle);
        const double e = 1e-4;
        Node& node = nodes_[static_cast<std::size_t>(i)];
        node.travel = motion.travel_m;
        node.slope = motion.slope_m;
        node.slope_step = motion.slope_m * step;
        node.curvature = motion.curvature_m * step;
        node.curvature_step = (geometry_.motion(angle + e).curvature_m - geometry_.motion(angle - e).curvature_m) /
                              (2.0 * e) * step * step;
        const double ratio = 1.0 + geometry_.area_m2 * motion.travel_m / vc;
        const double n = angle < 0.0 ? compression_exponent_ : expansion_exponent_;
        node.inverse_w = portable::pow(ratio, -n);
        node.inverse_w_step = -n * node.inverse_w / ratio * geometry_.area_m2 * motion.slope_m / vc * step;
        const double leak_rate = angle >= intake_closing_rad_ ? 1.0 / ratio : 0.0;
        leak += 0.5 * step * (leak_rate_before + leak_rate);
        leak_rate_before = leak_rate;
        node.leak = leak;
    }
    bottom_w_ = 1.0 / nodes_.front().inverse_w;
}

CylinderModel::Place CylinderModel::place(double wrapped_rad) const noexcept {
    const double x = (wrapped_rad + kHalfTurn) * (kSteps / kTurn);
    const int i = std::clamp(static_cast<int>(x), 0, kSteps - 1);
    return {&nodes_[static_cast<std::size_t>(i)], x - i};
}

double CylinderModel::closed_pa(double wrapped_rad, const Place& at, const Charge& charge) const noexcept {
    const Node& a = at.node[0];
    const Node& b = at.node[1];
    const double inverse_w = hermite(a.inverse_w, a.inverse_w_step, b.inverse_w, b.inverse_w_step, at.fraction);
    double y = charge.trapped_pa * bottom_w_;
    if (charge.heat_j > 0.0)
        y += (expansion_exponent_ - 1.0) * charge.heat_j * charge.burn.at(std::max(wrapped_rad, charge.reached_rad));
    if (charge.leak_rad_s > 0.0) {
        const double lost = a.leak + (b.leak - a.leak) * at.fraction;
        y *= portable::exp(-charge.leak_rad_s / charge.closing_rad_s * lost);
    }
    return y * inverse_w;
}

double CylinderModel::sealed_pa(double wrapped_rad, const Charge& charge) const noexcept {
    // One exponent both ways: a spring gives back what it took.
    const Place at = place(wrapped_rad < 0.0 ? wrapped_rad : -wrapped_rad);
    const Node& a = at.node[0];
    const Node& b = at.node[1];
    return charge.trapped_pa * bottom_w_ *
           hermite(a.inverse_w, a.inverse_w_step, b.inverse_w, b.inverse_w_step, at.fraction);
}

double CylinderModel::pressure_pa(double angle_rad, double wrapped_rad, const Place& at, double slope_m,
                                  double speed_rad_s, double manifold_pa, const Charge& charge) const noexcept {
    if (charge.sealed) return sealed_pa(wrapped_rad, charge);
    const double piston_m_s = slope_m * speed_rad_s;
    const double loss_pa = flow_ * piston_m_s * piston_m_s;
    const double exhaust_pa = exhaust_pa_ + charge.exhaust_rise_pa;
    if (angle_rad >= -kHalfTurn && angle_rad <= kHalfTurn) {
        const double closed = closed_pa(wrapped_rad, at, charge);
        if (angle_rad < intake_closing_rad_) {
            const double share = smooth_step((angle_rad + kHalfTurn) / (intake_closing_rad_ + kHalfTurn));
            return manifold_pa + (closed - manifold_pa) * share;
        }
        if (angle_rad <= exhaust_opening_rad_) return closed;
        const double share = smooth_step((angle_rad - exhaust_opening_rad_) / (kHalfTurn - exhaust_opening_rad_));
        const double outside = cycle_rad_ > 1.5 * kTurn ? exhaust_pa + loss_pa : manifold_pa;
        return closed + (outside - closed) * share;
    }
    const double intake = manifold_pa - loss_pa;
    const double exhaust = exhaust_pa + loss_pa;
    const double from_overlap = angle_rad > 0.0 ? angle_rad - kTurn : angle_rad + kTurn;
    if (from_overlap > half_overlap_rad_) return intake;
    if (from_overlap < -half_overlap_rad_) return exhaust;
    return exhaust + (intake - exhaust) * smooth_step(0.5 + 0.5 * from_overlap / half_overlap_rad_);
}

namespace {

/// Into -180 to 180 degrees.
double wrap_turn(double angle_rad) noexcept {
    if (angle_rad > kHalfTurn) return angle_rad - kTurn;
    if (angle_rad < -kHalfTurn) return angle_rad + kTurn;
    return angle_rad;
}

}  // namespace

double CylinderModel::pressure_pa(double angle_rad, double speed_rad_s, double manifold_pa,
                                  const Charge& charge) const noexcept {
    const double wrapped = wrap_turn(angle_rad);
    const Place at = place(wrapped);
    return pressure_pa(angle_rad, wrapped, at, geometry_.motion(wrapped).slope_m, speed_rad_s, manifold_pa, charge);
}

CylinderTorque CylinderModel::torque(double angle_rad, double speed_rad_s, double manifold_pa,
                                     const Charge& charge) const noexcept {
    if (angle_rad > 0.5 * cycle_rad_) angle_rad -= cycle_rad_;
    const double wrapped = wrap_turn(angle_rad);
    const Place at = place(wrapped);
    const Node& a = at.node[0];
    const Node& b = at.node[1];
    const double slope = hermite(a.slope, a.curvature, b.slope, b.curvature, at.fraction);
    const double curvature =
        hermite(a.curvature, a.curvature_step, b.curvature, b.curvature_step, at.fraction) * (kSteps / kTurn);
    const double pressure = pressure_pa(angle_rad, wrapped, at, slope, speed_rad_s, manifold_pa, charge);
    CylinderTorque result;
    result.gas_nm = (pressure - ambient_pa_) * geometry_.area_m2 * slope;
    result.inertia_kg_m2 = reciprocating_kg_ * slope * slope;
    result.inertia_slope_kg_m2 = reciprocating_kg_ * slope * curvature;
    return result;
}

double CylinderModel::usual_residual(double manifold_pa) const noexcept {
    return std::min(kMostResidual, residual_share_ * exhaust_pa_ / manifold_pa);
}

double CylinderModel::residual(double manifold_pa, double exhaust_rise_pa, double speed_rad_s) const noexcept {
    const double exhaust = exhaust_pa_ + exhaust_rise_pa;
    if (overlap_factor_ <= 0.0) return std::min(kMostResidual, residual_share_ * exhaust / manifold_pa);
    const double ratio = manifold_pa / exhaust;
    const double turns_per_s = std::max(speed_rad_s, kTurn) / kTurn;
    double share = 0.632 * portable::pow(ratio, -0.74) / compression_ratio_;
    if (ratio < 1.0)
        share += 1.266 * overlap_factor_ / turns_per_s * portable::pow(ratio, -0.87) *
                 std::sqrt(1e-5 * (exhaust - manifold_pa));
    return std::min(kMostResidual, share);
}

double CylinderModel::nominal_heat_j(double manifold_pa, double load) const noexcept {
    // Residual gas takes room from fresh charge, the more the lower the intake pressure.
    const double full = heat_j(manifold_pa, 1.0 - usual_residual(manifold_pa));
    return throttled_ ? full : full * std::max(0.0, load);
}

double CylinderModel::cycle_work_j(double speed_rad_s, double manifold_pa, const Charge& charge) const noexcept {
    const int steps = cycle_rad_ > 1.5 * kTurn ? 1440 : 720;
    const double step = cycle_rad_ / steps;
    double sum = 0.0;
    for (int i = 0; i < steps; ++i)
        sum += torque(-0.5 * cycle_rad_ + i * step, speed_rad_s, manifold_pa, charge).gas_nm;
    return sum * step;
}

}  // namespace kurbel::simulate
