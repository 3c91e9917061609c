// How far the crank turns at the sensor when torque shakes one of its throws: an elastic chain with what hangs on it.
#pragma once

#include <Eigen/Core>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>

#include "kurbel/core/config.hpp"
#include "kurbel/core/crank_pins.hpp"

namespace kurbel {

/// Pulley, throws and flywheel as inertias in a row with springs between them; maybe a damper's ring on the pulley and a gearbox on
/// the clutch's springs. Inertias are shares of the engine's, reciprocating masses included, so that a slow torque turns
/// everything by -torque / w^2. Source of the form: the textbooks' chain of inertias (Holzer); shares are engineering ranges
/// from memory.
class CrankChain {
  public:
    using Phasor = std::complex<double>;

    /// What the chain is made of. Shares and frequencies of 0: not there.
    struct Parts {
        double mode_rad_s = 2200.0;  ///< first natural frequency of pulley, throws and flywheel
        double damping = 0.02;       ///< of it
        double pulley = 0.08;        ///< shares of the rotating inertia
        double throws = 0.25;
        double ring = 0.0;       ///< of a damper on the pulley
        double ring_tune = 1.0;  ///< its frequency over the crank's first
        double ring_damping = 0.08;
        double gearbox = 0.0;
        double clutch_rad_s = 380.0;  ///< of the gearbox on its springs
        double clutch_damping = 0.1;
    };

    /// `reciprocating`: share of one cylinder's reciprocating mass in all inertia.
    void configure(const EngineConfig& engine, double reciprocating) noexcept {
        const CrankPins pins(engine);
        throws_ = pins.count();
        for (int i = 0; i < engine.cylinders; ++i) node_[at(i)] = pins.of(engine.firing_order[at(i)]);
        moved_.fill(0.0);
        for (int i = 0; i < engine.cylinders; ++i) moved_[at(node_[at(i)])] += reciprocating;
        rotating_ = 1.0 - reciprocating * engine.cylinders;
    }

    void set(const Parts& parts) noexcept {
        parts_ = parts;
        const int nodes = throws_ + 2;
        const double front = std::min(parts.pulley, 0.4);
        const double middle = std::min(parts.throws, 0.5);
        for (int i = 1; i <= throws_; ++i) inertia_[at(i)] = rotating_ * middle / throws_ + moved_[at(i)];
        inertia_[0] = rotating_ * front;
        inertia_[at(nodes - 1)] = rotating_ * (1.0 - front - middle);
        stiffness_ = parts.mode_rad_s * parts.mode_rad_s / unit_mode_square();
    }

    /// Angle at the sensor for a torque of 1 (over all inertia, rad/s^2) on each cylinder's throw, in firing order, at `w_rad_s`.
    void turn(double w_rad_s, bool front, std::array<Phasor, kMaxCylinders>& angle, int cylinders) const noexcept {
        // By reciprocity: torque at the sensor, angles at the throws.
        const double square = w_rad_s * w_rad_s;
        const Phasor spring = stiffness_ * Phasor(1.0, 2.0 * parts_.damping * w_rad_s / parts_.mode_rad_s);
        const int last = throws_ + 1;
        std::array<Phasor, kMaxNodes> carried{};  // dynamic stiffness of all before a node, as felt at it
        std::array<Phasor, kMaxNodes> x{};
        const auto own = [&](int i) {
            Phasor stiff = -square * inertia_[at(i)];
            if (i == 0 && parts_.ring > 0.0)
                stiff += hung(parts_.ring, parts_.ring_tune * parts_.mode_rad_s, parts_.ring_damping, w_rad_s);
            if (i == last && parts_.gearbox > 0.0)
                stiff += hung(parts_.gearbox, parts_.clutch_rad_s, parts_.clutch_damping, w_rad_s);
            return stiff;
        };
        // From the end away from the sensor towards it: stiffness that is felt; then angles back.
        const int from = front ? last : 0;
        const int to = front ? 0 : last;
        const int step = front ? -1 : 1;
        carried[at(from)] = own(from);
        for (int i = from; i != to; i += step)
            carried[at(i + step)] = own(i + step) + over(spring * carried[at(i)], spring + carried[at(i)]);
        x[at(to)] = over(1.0, carried[at(to)]);
        for (int i = to; i != from; i -= step)
            x[at(i - step)] = over(x[at(i)] * spring, spring + carried[at(i - step)]);
        for (int k = 0; k < cylinders; ++k) angle[at(k)] = x[at(node_[at(k)])];
    }

  private:
    static constexpr int kMaxNodes = kMaxCylinders + 2;
    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }

    /// A quotient where neither overflows nor is endless, which costs a third of the general one.
    [[nodiscard]] static Phasor over(Phasor a, Phasor b) noexcept { return a * std::conj(b) / std::norm(b); }

    /// Dynamic stiffness of an inertia on a spring.
    [[nodiscard]] static Phasor hung(double inertia, double natural_rad_s, double damping, double w_rad_s) noexcept {
        const double ratio = w_rad_s / natural_rad_s;
        const Phasor spring(1.0, 2.0 * damping * ratio);
        return over(-w_rad_s * w_rad_s * inertia * spring, spring - ratio * ratio);
    }

    /// Square of the first natural frequency where each spring is 1.
    [[nodiscard]] double unit_mode_square() const noexcept {
        using Matrix = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, kMaxNodes, kMaxNodes>;
        using Vector = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, kMaxNodes, 1>;
        using SubVector = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, kMaxNodes - 1, 1>;
        const int nodes = throws_ + 2;
        Vector diagonal = Vector::Zero(nodes);
        SubVector beside = SubVector::Zero(nodes - 1);
        for (int i = 0; i + 1 < nodes; ++i) {
            diagonal[i] += 1.0 / inertia_[at(i)];
            diagonal[i + 1] += 1.0 / inertia_[at(i + 1)];
            beside[i] = -1.0 / std::sqrt(inertia_[at(i)] * inertia_[at(i + 1)]);
        }
        Eigen::SelfAdjointEigenSolver<Matrix> solver;
        solver.computeFromTridiagonal(diagonal, beside, Eigen::EigenvaluesOnly);
        return solver.eigenvalues()[1];
    }

    Parts parts_{};
    int throws_ = 1;
    double rotating_ = 1.0;
    double stiffness_ = 1.0;
    std::array<int, kMaxCylinders> node_{};
    std::array<double, kMaxNodes> moved_{};
    std::array<double, kMaxNodes> inertia_{};
};

}  // namespace kurbel
