#include "discover/motored_form.hpp"

#include <Eigen/Cholesky>
#include <Eigen/LU>
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

}  // namespace

double SeenForm::value(double u, double v) const {
    const double mu = std::exp(u);
    const double k = std::exp(u + v);
    const double unusual =
        std::pow((u - usual_u_) / kMassSpread, 2) + std::pow((v - std::log(kUsualForce)) / kForceSpread, 2);
    return 0.5 * (rest_ + k * k * aa_ + mu * mu * bb_ + unusual) + k * mu * ab_ - k * a_ - mu * b_;
}

double SeenForm::marginal() const {
    double best = std::numeric_limits<double>::infinity();
    const double usual_v = std::log(kUsualForce);
    double u = usual_u_;
    double v = usual_v;
    constexpr int kSteps = 4;
    constexpr double kStep = 0.6;
    for (int i = -kSteps; i <= kSteps; ++i)
        for (int j = -kSteps; j <= kSteps; ++j) {
            const double here_u = usual_u_ + kStep * i * kMassSpread;
            const double here_v = usual_v + kStep * j * kForceSpread;
            const double here = value(here_u, here_v);
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
