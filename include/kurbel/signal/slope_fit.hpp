// When a slope crosses a level: a polynomial fitted to the samples around the crossing by weighted least squares.
//
// A straight line between two samples uses the noise of those two alone. The time of a known wave in white noise of standard
// deviation sigma cannot be told better than sigma / sqrt(sum of s'(t_n)^2) (Kay, Fundamentals of Statistical Signal
// Processing I, 1993, section 3.4, from memory); the sum runs over every sample on the slope, so an estimate must use them all.
// Least squares does. The odd terms up to the fifth power follow a sine from pole to pole and beyond; they cost nothing, since an
// odd term says nothing of the height in the middle. Of the even terms the square alone is free, for a slope that bends to one side.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>

namespace kurbel::signal {

/// A crossing in units of the samples' own spacing.
template <class Real>
struct SlopeFit {
    Real place = 0;     ///< where the level is crossed
    Real slope = 0;     ///< per unit, there
    Real residual = 0;  ///< weighted rms of what the polynomial leaves
    Real gain = 0;      ///< standard error of `place` in units of (noise of a sample) / |slope|
    bool ok = false;
};

/// `values[i]` stands at `first + i * spacing`, i = 0 to count - 1. Fits those nearer than `half_width` to the crossing, weight
/// 1 - (distance / half_width)^2, beginning at `guess`. ok is false where too few samples are there or the slope has no
/// crossing of `level` within a half width of `guess`.
template <class Real>
[[nodiscard]] SlopeFit<Real> fit_slope(const Real* values, int count, Real first, Real spacing, Real guess,
                                       Real half_width, Real level) noexcept {
    constexpr int kTerms = 5;
    using Vector = Eigen::Matrix<Real, kTerms, 1>;
    using Matrix = Eigen::Matrix<Real, kTerms, kTerms>;
    const auto height = [](const Vector& c, Real x) {
        return c[0] + x * (c[1] + x * (c[2] + x * (c[3] + x * x * c[4])));
    };
    const auto steepness = [](const Vector& c, Real x) {
        return c[1] + x * (2 * c[2] + x * (3 * c[3] + 5 * x * x * c[4]));
    };
    SlopeFit<Real> fit;
    Real centre = guess;
    constexpr int kRounds = 6;
    for (int round = 0; round < kRounds; ++round) {
        Matrix sums = Matrix::Zero();
        Vector right = Vector::Zero();
        Real weights = 0;
        const int from = std::max(0, static_cast<int>(std::ceil((centre - half_width - first) / spacing)));
        const int to = std::min(count - 1, static_cast<int>(std::floor((centre + half_width - first) / spacing)));
        if (to - from < kTerms) return fit;
        for (int i = from; i <= to; ++i) {
            const Real x = (first + static_cast<Real>(i) * spacing - centre) / half_width;
            const Real w = 1 - x * x;
            const Real square = x * x;
            Vector powers;
            powers << 1, x, square, square * x, square * square * x;
            sums.noalias() += w * powers * powers.transpose();
            right += w * (values[i] - level) * powers;
            weights += w;
        }
        const Eigen::LDLT<Matrix> solver(sums);
        const Vector c = solver.solve(right);
        // Newton from the centre, where the slope is nearly straight.
        Real x = 0;
        for (int i = 0; i < 6; ++i) {
            const Real steep = steepness(c, x);
            if (!(std::fabs(steep) > 0)) return fit;
            x -= height(c, x) / steep;
            if (!(std::fabs(x) < 2)) return fit;
        }
        const Real moved = x * half_width;
        if (std::fabs(centre + moved - guess) > half_width) return fit;
        fit.place = centre + moved;
        fit.slope = steepness(c, x) / half_width;
        if (std::fabs(moved) > Real(0.002) * half_width && round < kRounds - 1) {
            centre += moved;
            continue;
        }
        // What is left, and how noise reaches c[0].
        const Vector unit = solver.solve(Vector(Vector::Unit(0)));
        Real squares = 0;
        Real kernel = 0;
        for (int i = from; i <= to; ++i) {
            const Real at = (first + static_cast<Real>(i) * spacing - centre) / half_width;
            const Real w = 1 - at * at;
            const Real left = values[i] - level - height(c, at);
            squares += w * left * left;
            const Real k = w * height(unit, at);
            kernel += k * k;
        }
        const int used = to - from + 1;
        fit.residual = std::sqrt(squares / weights * static_cast<Real>(used) / static_cast<Real>(used - kTerms));
        fit.gain = std::sqrt(kernel);
        fit.ok = true;
        return fit;
    }
    return fit;
}

}  // namespace kurbel::signal
