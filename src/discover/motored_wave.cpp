#include "discover/motored_wave.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>

#include "discover/crank_swing.hpp"

namespace kurbel::discover {

namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

// Shares of sizes (judged; no source): shape of compression, of the wave itself and of the largest; intake pressure over the range of
// energies; cylinders among each other; what a twisting crank shows of cylinders that cancel each other; what no
// smooth line follows, of the wave itself and of the largest.
constexpr double kOwnError = 0.06;
constexpr double kShapeError = 0.02;
constexpr double kPressureDrift = 0.15;
constexpr double kSpread = 0.04;
constexpr double kLeak = 0.7;
constexpr double kRough = 0.015;
constexpr double kRoughest = 0.005;
constexpr double kHighest_hz = 190.0;

/// The line tells gas from masses where its rise is better known than the wave is large.
bool parted(const MotoredLine& line, std::size_t h) {
    return line.rise_variance[h] < std::norm(line.middle[h]) + line.middle_variance[h];
}

double gas_size(const MotoredLine& line, std::size_t h) {
    return std::abs(parted(line, h) ? line.middle[h] - line.rise[h] : line.middle[h]);
}

/// Bins in which a wave stays below the crank's torsion; they are the first.
std::size_t bins_below(const MotoredLine& line, std::size_t h) {
    std::size_t bins = 0;
    while (bins < line.bins.size() && CrankSwing::hz(h, line.bins[bins].energy) < kHighest_hz) ++bins;
    return bins;
}

/// Of covariance matrices: the same error, grown by `size`, in all bins.
MatrixXd common(const VectorXd& size) { return size * size.transpose(); }

WaveAxis axis(const MatrixXd& variance, const VectorXd& energy, const VectorXd& real, const VectorXd& imaginary,
              double& log_det) {
    const Eigen::LLT<MatrixXd> root(variance);
    const Eigen::Index bins = energy.size();
    MatrixXd columns(bins, 4);
    columns << VectorXd::Ones(bins), energy, real, imaginary;
    const MatrixXd sums = columns.transpose() * root.solve(columns);
    log_det += root.matrixLLT().diagonal().array().log().sum();
    return {{sums(0, 0), sums(0, 1), sums(1, 1), 0.0, 0.0, 0.0},
            {sums(0, 2), sums(0, 3)},
            {sums(1, 2), sums(1, 3)},
            sums(2, 2),
            sums(2, 3),
            sums(3, 3)};
}

}  // namespace

std::vector<std::size_t> usable_waves(const CycleSpectrum& spectrum) {
    std::vector<std::size_t> used;
    for (std::size_t h = 0; h < spectrum.motored.middle.size(); ++h)
        if (spectrum.told[h] && bins_below(spectrum.motored, h) > 0) used.push_back(h);
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

MotoredWave weighed(const CycleSpectrum& spectrum, std::size_t h, double largest, const Layout& layout,
                    double coherence, double mass_wave, const Bending& bending) {
    const MotoredLine& line = spectrum.motored;
    const auto bins = static_cast<Eigen::Index>(bins_below(line, h));
    // What rises with the energy is masses and wheel; masses are no larger than engines are built with.
    constexpr double kHeavy = 3.0;
    const double masses = std::min(parted(line, h) ? std::abs(line.rise[h]) : std::abs(line.middle[h]),
                                   kHeavy * kUsualMassShare * line.energy * mass_wave * std::sqrt(coherence));
    const double gas = gas_size(line, h);
    const double cylinder = largest * falls(layout, h);
    const double count = layout.cylinders();
    VectorXd energy(bins);
    VectorXd real(bins);
    VectorXd imaginary(bins);
    MatrixXd variance = MatrixXd::Zero(bins, bins);
    MatrixXd twist(bins, bins);  // covariance of the share by which torsion makes waves larger or smaller
    MatrixXd drive(bins, bins);  // the same of clutch and gearbox
    std::vector<CrankSwing> swing;
    for (Eigen::Index i = 0; i < bins; ++i) {
        const MotoredBin& bin = line.bins[static_cast<std::size_t>(i)];
        energy[i] = bin.energy;
        real[i] = bin.wave[h].real();
        imaginary[i] = bin.wave[h].imag();
        swing.emplace_back(h, bin.energy);
        const double rough = std::hypot(kRough * std::abs(bin.wave[h]), kRoughest * largest,
                                        bending.coupled * swing.back().ratio * largest);
        variance(i, i) = bin.variance[h] + rough * rough;
    }
    for (Eigen::Index i = 0; i < bins; ++i)
        for (Eigen::Index j = 0; j < bins; ++j) {
            const CrankSwing& one = swing[static_cast<std::size_t>(i)];
            const CrankSwing& other = swing[static_cast<std::size_t>(j)];
            twist(i, j) = one.twist_with(other);
            drive(i, j) = one.drive_with(other, bending.drive);
        }
    const VectorXd ones = VectorXd::Ones(bins);
    const VectorXd share = energy / line.energy;
    const MatrixXd of_gas = gas * gas * common(ones) + masses * masses * common(share);
    variance +=
        common(std::hypot(kOwnError * gas, kShapeError * largest, kSpread * cylinder / std::sqrt(count)) * ones);
    variance += common(spectrum.wheel_error[h] * energy);
    // Angles that were measured hold the mean of the engine's own swing: it looks like masses.
    if (spectrum.angles_measured && h % 2 == 1) variance += common(std::abs(line.middle[h]) * share);
    // Where cylinders cancel each other, a crank that twists shows them still: each stands at its own place along it.
    const double leak = kLeak * std::sqrt(std::max(0.0, 1.0 - coherence) / count);
    const MatrixXd of_one =
        cylinder * cylinder * common(ones) + std::pow(line.energy * kUsualMassShare * mass_wave, 2) * common(share);
    variance += leak * leak * twist.cwiseProduct(of_one);
    const MatrixXd along =
        variance + (twist + drive).cwiseProduct(of_gas) + common(kPressureDrift * gas * (share - ones));
    const MatrixXd across =
        variance + (CrankSwing::kTurned * CrankSwing::kTurned * twist + 0.5 * drive).cwiseProduct(of_gas);
    MotoredWave wave;
    wave.h = h;
    wave.bins = static_cast<std::size_t>(bins);
    wave.along = axis(along, energy, real, imaginary, wave.log_det);
    wave.across = axis(across, energy, real, imaginary, wave.log_det);
    return wave;
}

}  // namespace kurbel::discover
