#include "discover/motored_form.hpp"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <array>
#include <limits>

namespace kurbel::discover {

namespace {

using Eigen::Matrix2d;
using Eigen::Vector2d;

/// Force of pressure over that of masses: 1 bar x piston area x crank radius over reciprocating mass x squared radius, rad^2/s^2, from bores,
/// strokes and masses of usual engines, motorcycles to lorries (from memory). Spreads are of logarithms.
constexpr double kUsualForce = 2.2e4;
constexpr double kForceSpread = 0.9;
constexpr double kMassSpread = 0.7;

/// First guesses: so many either side of what is usual, in steps of so many spreads.
constexpr int kSteps = 4;
constexpr int kTries = 2 * kSteps + 1;
constexpr double kStep = 0.6;

std::array<double, kTries> steps(double usual, double spread) {
    std::array<double, kTries> all{};
    for (int i = 0; i < kTries; ++i) all[static_cast<std::size_t>(i)] = usual * std::exp(kStep * (i - kSteps) * spread);
    return all;
}

}  // namespace

double SeenForm::value(double u, double v) const { return value(u, v, std::exp(u), std::exp(u + v)); }

double SeenForm::value(double u, double v, double mu, double k) const {
    const double off_u = (u - usual_u_) / kMassSpread;
    const double off_v = (v - std::log(kUsualForce)) / kForceSpread;
    const double unusual = off_u * off_u + off_v * off_v;
    return 0.5 * (rest_ + k * k * aa_ + mu * mu * bb_ + unusual) + k * mu * ab_ - k * a_ - mu * b_;
}

double SeenForm::marginal() const {
    double best = std::numeric_limits<double>::infinity();
    const double usual_v = std::log(kUsualForce);
    double u = usual_u_;
    double v = usual_v;
    static const std::array<double, kTries> mass = steps(1.0, kMassSpread);
    static const std::array<double, kTries> force = steps(kUsualForce, kForceSpread);
    const double usual_mu = std::exp(usual_u_);
    for (int i = 0; i < kTries; ++i)
        for (int j = 0; j < kTries; ++j) {
            const double here_u = usual_u_ + kStep * (i - kSteps) * kMassSpread;
            const double here_v = usual_v + kStep * (j - kSteps) * kForceSpread;
            const double mu = usual_mu * mass[static_cast<std::size_t>(i)];
            const double here = value(here_u, here_v, mu, mu * force[static_cast<std::size_t>(j)]);
            if (here >= best) continue;
            best = here;
            u = here_u;
            v = here_v;
        }
    Matrix2d hessian = Matrix2d::Identity();
    constexpr int kRounds = 8;
    for (int round = 0; round < kRounds; ++round) {
        const double mu = std::exp(u);
        const double k = std::exp(u + v);
        const double by_k = k * (k * aa_ + mu * ab_ - a_);
        const double by_mu = mu * (mu * bb_ + k * ab_ - b_);
        const Vector2d gradient(by_k + by_mu + (u - usual_u_) / (kMassSpread * kMassSpread),
                                by_k + (v - usual_v) / (kForceSpread * kForceSpread));
        // Gauss and Newton's: without the curvature of the exponentials it stays positive.
        hessian(0, 0) = k * k * aa_ + 2.0 * k * mu * ab_ + mu * mu * bb_ + 1.0 / (kMassSpread * kMassSpread);
        hessian(0, 1) = hessian(1, 0) = k * k * aa_ + k * mu * ab_;
        hessian(1, 1) = k * k * aa_ + 1.0 / (kForceSpread * kForceSpread);
        const Vector2d step = hessian.ldlt().solve(gradient);
        double share = 1.0;
        constexpr double kLeast = 1e-3;
        while (share > kLeast && !(value(u - share * step[0], v - share * step[1]) <= best)) share *= 0.5;
        if (share <= kLeast) break;
        u -= share * step[0];
        v -= share * step[1];
        best = value(u, v);
        if (share * step.norm() < 1e-4) break;
    }
    return best + 0.5 * std::log(hessian.determinant());
}

}  // namespace kurbel::discover
