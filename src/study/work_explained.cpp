#include "study/work_explained.hpp"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>

#include "kurbel/stage/half_turn.hpp"

namespace kurbel {

namespace {

using Complex = std::complex<double>;

constexpr double kTwistDoubt = 0.8;    ///< of what follows from the usual first torsion, share
constexpr double kSpread = 0.5;        ///< of cylinders' work before anything was measured, share
constexpr double kSoundSpread = 0.04;  ///< of a sound engine's (engineering range, from memory)

/// What a closed clutch couples to the crank swings against it at 40 to 80 Hz, and has about an eighth of its inertia (engineering
/// ranges, from memory).
constexpr double kSlowestClutch_hz = 40.0;
constexpr double kFastestClutch_hz = 80.0;
constexpr double kCoupledInertia = 0.12;
constexpr double kResonance = 0.12;  ///< twice its damping ratio of 0.06 (engineering range, from memory)

double square(double x) { return x * x; }

/// Share of the crank's answer that the driveline may add or take at this frequency: two masses on a spring, whose resonance may lie
/// anywhere in its range; in neutral nothing is there, but nothing says so.
double by_driveline(double frequency_hz) {
    const double nearest = std::clamp(frequency_hz, kSlowestClutch_hz, kFastestClutch_hz);
    return kCoupledInertia / std::max(std::fabs(1.0 - square(nearest / frequency_hz)), kResonance);
}

/// Share of a difference that the shape of the burn, driveline and torsion may bend at this order.
double bent(const WorkOrder& order, double rev_hz) {
    const double frequency_hz = order.per_turn * rev_hz;
    const double ratio = square(frequency_hz / kSlowestMode_hz);
    const double rigid = 0.10 + 0.10 * order.per_turn + 0.5 * ratio / std::max(1.0 - ratio, 0.3);
    return std::hypot(rigid, by_driveline(frequency_hz));
}

/// Spread that may be expected between cylinders whose difference only integer orders tell: twice what is seen, free of the
/// wheel, between those a revolution apart (few pairs tell a spread to a factor of two), and at least that of sound engines.
double spread_of_pairs(const EngineConfig& engine, const Eigen::VectorXd& share) {
    double sum = 0.0;
    for (int k = 0; k < engine.cylinders; ++k) {
        const int partner = partner_under_360(engine, k);
        if (partner < 0) return kSpread;
        sum += 0.5 * square(share[k] - share[partner]) / engine.cylinders;
    }
    return std::min(kSoundSpread + 2.0 * std::sqrt(sum), kSpread);
}

}  // namespace

void explain_orders(const EngineConfig& engine, const OrdersTold& told, WorkShares& shares) {
    const int z = engine.cylinders;
    const int all = z + kTwisted;
    Eigen::VectorXd expected = Eigen::VectorXd::Zero(all);
    expected[z] = 1.0;
    expected[z + 1] = told.intake;
    Eigen::VectorXd share = expected;
    Eigen::MatrixXd covariance = Eigen::MatrixXd::Identity(all, all);
    // Begun narrow: what integer orders cannot tell must not pass for a difference that widens everything else.
    double plausible = spread_of_pairs(engine, share);
    double misfit = 0.0;
    for (int round = 0; round < 5; ++round) {
        Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(all, all);
        normal.diagonal().head(z).setConstant(1.0 / square(plausible));
        normal.topLeftCorner(z, z).array() += 1e6;  // their sum is 0
        normal(z, z) = 1.0 / square(kTwistDoubt);
        normal(z + 1, z + 1) = 1.0 / square(kTwistDoubt * told.intake);
        Eigen::VectorXd right = normal * expected;
        misfit = 0.0;
        const double norm = share.head(z).squaredNorm();
        for (const WorkOrder& order : told.orders) {
            // All cylinders are bent alike in the main, and each in its own way a little.
            const Complex fitted = (order.lever.transpose() * share.cast<Complex>())(0);
            const double twisted = std::norm(order.lever[z]) + std::norm(told.intake * order.lever[z + 1]);
            const double model =
                square(bent(order, told.rev_hz)) * 0.5 * (std::norm(fitted) + 0.2 * std::norm(order.lever[0]) * norm) +
                0.5 * square(0.3) * twisted;
            const double weight = 1.0 / (order.variance + model + 1e-14);
            normal += weight * (order.lever.conjugate() * order.lever.transpose()).real();
            right += weight * (order.lever.conjugate() * order.value).real();
            misfit += weight * std::norm(order.value - fitted);
        }
        covariance = normal.inverse();
        share = covariance * right;
        plausible = spread_of_pairs(engine, share);
    }
    const double freedom = std::max(2.0 * static_cast<double>(told.orders.size()) - (z - 1), 1.0);
    shares.misfit = misfit / freedom;
    covariance *= std::max(shares.misfit, 1.0);
    shares.deviation = shares.mean * share.head(z);
    shares.covariance = square(shares.mean) * covariance.topLeftCorner(z, z);
    shares.wheel_matters = engine.strokes != 2 && z % 2 == 0;
}

}  // namespace kurbel
