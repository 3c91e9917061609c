#include "discover/motored_wave.hpp"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>

#include "discover/crank_swing.hpp"

namespace kurbel::discover {

namespace {

using Eigen::Matrix2d;
using Eigen::Vector2d;

// Shares of sizes (judged; no source): shape of compression, of the wave itself and of the largest; intake pressure over the range of
// energies; cylinders among each other; what a twisting crank shows of cylinders that cancel each other.
constexpr double kOwnError = 0.06;
constexpr double kShapeError = 0.02;
constexpr double kPressureDrift = 0.15;
constexpr double kSpread = 0.04;
constexpr double kLeak = 0.7;
constexpr double kHighest_hz = 190.0;

/// The line tells gas from masses where its rise is better known than the wave is large.
bool parted(const MotoredLine& line, std::size_t h) {
    return line.rise_variance[h] < std::norm(line.middle[h]) + line.middle_variance[h];
}

double gas_size(const MotoredLine& line, std::size_t h) {
    return std::abs(parted(line, h) ? line.middle[h] - line.rise[h] : line.middle[h]);
}

Matrix2d both(double middle, double rise, double size) {
    const Vector2d direction(middle, rise);
    return size * size * direction * direction.transpose();
}

}  // namespace

std::vector<std::size_t> usable_waves(const CycleSpectrum& spectrum) {
    std::vector<std::size_t> used;
    for (std::size_t h = 0; h < spectrum.motored.middle.size(); ++h)
        if (spectrum.told[h] && CrankSwing::hz(h, spectrum.motored.energy) < kHighest_hz) used.push_back(h);
    return used;
}

double largest_gas(const MotoredLine& line, const std::vector<std::size_t>& used) {
    double largest = 0.0;
    for (const std::size_t h : used) largest = std::max(largest, gas_size(line, h));
    return largest;
}

double falls(const Layout& layout, std::size_t h) {
    return std::min(1.5, std::pow(720.0 / layout.period_deg / static_cast<double>(h + 1), 2));
}

MotoredWave weighed(const MotoredLine& line, std::size_t h, double largest, int teeth, const Layout& layout,
                    double coherence, double mass_wave) {
    const CrankSwing swing(h, line.energy);
    const double masses = parted(line, h) ? std::abs(line.rise[h]) : std::abs(line.middle[h]);
    const double gas = gas_size(line, h);
    const double cylinder = largest * falls(layout, h);
    const double count = layout.cylinders();
    Matrix2d variance = Matrix2d::Zero();
    variance(0, 0) = line.middle_variance[h];
    variance(1, 1) = line.rise_variance[h];
    variance +=
        both(1.0, 0.0, std::hypot(kOwnError * gas, kShapeError * largest, kSpread * cylinder / std::sqrt(count)));
    // Wheel errors repeat every revolution: whole orders alone.
    const double order = 0.5 * static_cast<double>(h + 1);
    if (h % 2 == 1) variance += both(1.0, 1.0, 2.0 * line.energy * order * wheel_error_rad(order, teeth));
    // Where cylinders cancel each other, a crank that twists shows them still: each stands at its own place along it. Torsion grows with the
    // energy: so do the waves of gas that it adds, those of masses with its square.
    const double leak = kLeak * swing.torsion * std::sqrt(std::max(0.0, 1.0 - coherence) / count);
    variance += both(1.0, 1.0, leak * cylinder) + both(1.0, 2.0, leak * line.energy * kUsualMassShare * mass_wave);
    variance += both(0.0, 1.0, swing.drive_change() * gas);
    const auto swung = [&](double twist, double drive) -> Matrix2d {
        return both(1.0, 2.0, twist * masses) + both(1.0, 1.0, std::hypot(twist * gas, drive * masses)) +
               both(1.0, 0.0, drive * gas);
    };
    const Matrix2d along = variance + swung(swing.torsion, swing.drive_along()) + both(0.0, 1.0, kPressureDrift * gas);
    const Matrix2d across = variance + swung(swing.turned, swing.drive_across());
    return {h,
            line.middle[h],
            line.rise[h],
            along.inverse(),
            across.inverse(),
            0.5 * std::log(along.determinant() * across.determinant())};
}

}  // namespace kurbel::discover
