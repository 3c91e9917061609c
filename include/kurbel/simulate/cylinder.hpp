// One cylinder: pressure and torque over its own crank angle, 0 at firing TDC.
//
// In the closed phase p w = y with w = (V / clearance)^n, n switching from compression to expansion at TDC where w = 1.
// The first law for the polytropic gas, dp = (k - 1)/V dQ - n p/V dV (Heywood 1988, ch. 9, from memory), becomes
// dy = (k - 1) w/V dQ, which is linear in the heat: y = y_trapped + (k - 1) Q I(angle). The integral I is made once a firing.
#pragma once

#include <array>
#include <vector>

#include "kurbel/simulate/combustion.hpp"
#include "kurbel/simulate/geometry.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

/// Integral of w/V over the burnt share, from the start of the burn on.
class BurnIntegral {
  public:
    static constexpr int kMostIntervals = 160;

    /// Value at `angle_rad`; continuous slope.
    [[nodiscard]] double at(double angle_rad) const noexcept;

  private:
    friend class CylinderModel;
    double start_rad_ = 1e9;
    double step_rad_ = 1.0;
    int intervals_ = 64;
    std::array<double, kMostIntervals + 1> value_{};
    std::array<double, kMostIntervals + 1> slope_{};  ///< times step
};

/// What differs from firing to firing of one cylinder.
struct Charge {
    double trapped_pa = 0.0;       ///< pressure at the bottom before compression
    double heat_j = 0.0;           ///< released in the cycle
    double leak_rad_s = 0.0;       ///< leak area times speed of sound over clearance volume
    double closing_rad_s = 100.0;  ///< crank speed when the charge was trapped
    BurnIntegral burn{};
    double exhaust_rise_pa = 0.0;  ///< back pressure beyond the exhaust's at rest
    bool sealed = false;           ///< valves stay closed for the whole cycle
    double reached_rad = -1e9;     ///< farthest angle of the cycle: what is burnt stays burnt when the crank turns back
};

/// How the heat comes over crank angle.
struct BurnShape {
    double start_rad = 0.0;
    double duration_rad = 1.0;
    double premixed_share = 0.0;  ///< above 0: two Wiebe parts, see combustion.hpp
    double premixed_rad = 0.2;
};

/// Instant values of one cylinder at one crank angle.
struct CylinderTorque {
    double gas_nm = 0.0;               ///< of the pressure above the crankcase's
    double inertia_kg_m2 = 0.0;        ///< of the reciprocating mass, referred to the crank
    double inertia_slope_kg_m2 = 0.0;  ///< half of its derivative with respect to crank angle
};

/// Tables of one cylinder's geometry and the laws over them; the same for all cylinders of an engine.
class CylinderModel {
  public:
    CylinderModel(const EngineConfig& engine, const CombustionSettings& combustion, const GasExchangeSettings& gas);

    /// `angle_rad` from -360 to 360 degrees (two-stroke: -180 to 180) of the firing TDC, a little beyond is allowed;
    /// `manifold_pa` is what an open intake offers.
    [[nodiscard]] CylinderTorque torque(double angle_rad, double speed_rad_s, double manifold_pa,
                                        const Charge& charge) const noexcept;

    /// Absolute pressure, as used by torque().
    [[nodiscard]] double pressure_pa(double angle_rad, double speed_rad_s, double manifold_pa,
                                     const Charge& charge) const noexcept;

    /// Makes the integral of a burn centred (half of the heat) at `ca50_rad` that takes `duration_rad`.
    void prepare_burn(double ca50_rad, double duration_rad, BurnIntegral& burn) const noexcept;

    /// The same for any shape; returns the share of the heat that is released before the exhaust opens. What would burn
    /// later is lost.
    double prepare_burn(const BurnShape& shape, BurnIntegral& burn) const noexcept;

    /// The shape that has released half of its heat at `ca50_rad`.
    [[nodiscard]] static BurnShape centred(double ca50_rad, BurnShape shape) noexcept;

    /// Share of residual gas in the charge: the exhaust's that did not leave, grown with the ratio of exhaust to intake
    /// pressure; `usual_residual` with the exhaust at rest and the scenario's plain share.
    [[nodiscard]] double usual_residual(double manifold_pa) const noexcept;
    [[nodiscard]] double residual(double manifold_pa, double exhaust_rise_pa, double speed_rad_s) const noexcept;

    /// Heat of a full combustion of a charge at `trapped_pa` of which the share `fresh` is air with its fuel.
    [[nodiscard]] double heat_j(double trapped_pa, double fresh) const noexcept {
        return heat_per_pa_ * trapped_pa * fresh;
    }

    /// Air that a cylinder takes in a cycle, kg.
    [[nodiscard]] double air_kg(double manifold_pa, double fresh) const noexcept {
        return air_per_pa_ * manifold_pa * fresh;
    }

    /// Heat of a full combustion at intake pressure `manifold_pa` (throttled) or fuel share `load` (not throttled).
    [[nodiscard]] double nominal_heat_j(double manifold_pa, double load) const noexcept;

    /// Work of the gas in one whole cycle (all strokes) at steady speed, for the mean-value map.
    [[nodiscard]] double cycle_work_j(double speed_rad_s, double manifold_pa, const Charge& charge) const noexcept;

    [[nodiscard]] const SliderCrank& geometry() const noexcept { return geometry_; }
    [[nodiscard]] double ambient_pa() const noexcept { return ambient_pa_; }
    [[nodiscard]] double cycle_rad() const noexcept { return cycle_rad_; }
    [[nodiscard]] double reciprocating_kg() const noexcept { return reciprocating_kg_; }

  private:
    struct Node {  // over -180 to 180 degrees; derivatives are times the step
        double travel;
        double slope;
        double slope_step;
        double curvature;
        double curvature_step;
        double inverse_w;
        double inverse_w_step;
        double leak;  ///< integral of clearance/V from intake closing on
    };
    struct Place {
        const Node* node;
        double fraction;
    };

    [[nodiscard]] Place place(double wrapped_rad) const noexcept;
    [[nodiscard]] double sealed_pa(double wrapped_rad, const Charge& charge) const noexcept;
    [[nodiscard]] double closed_pa(double wrapped_rad, const Place& at, const Charge& charge) const noexcept;
    [[nodiscard]] double pressure_pa(double angle_rad, double wrapped_rad, const Place& at, double slope_m,
                                     double speed_rad_s, double manifold_pa, const Charge& charge) const noexcept;

    static constexpr int kSteps = 720;  ///< half a degree each
    SliderCrank geometry_;
    double cycle_rad_;
    double reciprocating_kg_;
    double ambient_pa_;
    double exhaust_pa_;
    double flow_;
    double intake_closing_rad_;
    double exhaust_opening_rad_;
    double half_overlap_rad_;
    double expansion_exponent_;
    double compression_exponent_;
    double air_per_pa_;   ///< kilograms of a residual-free charge over its pressure
    double heat_per_pa_;  ///< joules of it
    double residual_share_;
    double overlap_factor_;
    double compression_ratio_;
    bool throttled_;
    double bottom_w_ = 1.0;  ///< w at the bottom before compression
    std::vector<Node> nodes_;
};

}  // namespace kurbel::simulate
