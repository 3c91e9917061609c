#include "discover/burning_waves.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "discover/crank_swing.hpp"
#include "discover/motored_wave.hpp"
#include "kurbel/core/slider_crank.hpp"

namespace kurbel::discover {

namespace {

using Complex = std::complex<double>;

// Shape of burns, of the wave itself and of the largest; cylinders among each other (judged; no source).
constexpr double kOwnError = 0.1;
constexpr double kShapeError = 0.04;
constexpr double kSpread = 0.08;

}  // namespace

BurningWaves::BurningWaves(const MotoredLine& line, const SpectrumPoint& point, const std::vector<std::size_t>& used) {
    const MotoredBin motored = line.at(point.energy);
    for (const std::size_t h : used) {
        waves_.push_back({h, point.phasor[h] - motored.wave[h], 0.0, 0.0, 0.0});
        largest_ = std::max(largest_, std::abs(waves_.back().value));
    }
    for (Wave& wave : waves_) {
        const CrankSwing swing(wave.h, point.energy);
        const double size = std::abs(wave.value);
        wave.variance = point.variance[wave.h] + motored.variance[wave.h] + std::pow(kOwnError * size, 2) +
                        std::pow(kShapeError * largest_, 2);
        wave.along = std::pow(swing.torsion * size, 2) + std::pow(swing.drive_along() * size, 2);
        wave.across = std::pow(swing.turned * size, 2) + std::pow(swing.drive_across() * size, 2);
    }
}

double BurningWaves::log_chance(const std::vector<GasShape>& shapes, const std::vector<Complex>& together,
                                const Layout& layout, double deg) const {
    struct Turned {
        Complex model;
        double along;
        double across;
    };
    std::vector<Turned> turned;
    for (std::size_t i = 0; i < waves_.size(); ++i) {
        const Wave& wave = waves_[i];
        const double spread = kSpread * largest_ * falls(layout, wave.h) / std::sqrt(layout.cylinders());
        const double variance = wave.variance + spread * spread;
        turned.push_back({together[i] * std::polar(1.0, -0.5 * static_cast<double>(wave.h + 1) * to_rad(deg)),
                          1.0 / (variance + wave.along), 1.0 / (variance + wave.across)});
    }
    double best = std::numeric_limits<double>::infinity();
    for (const GasShape& gas : shapes) {
        double rest = 0.0;
        double product = 0.0;
        double size = 1e-30;
        for (std::size_t i = 0; i < waves_.size(); ++i) {
            const Complex model = turned[i].model * gas.wave[waves_[i].h];
            const double length = std::abs(model);
            constexpr double kNothing = 1e-9;
            if (length < kNothing) {
                rest += 0.5 * (turned[i].along + turned[i].across) * std::norm(waves_[i].value);
                continue;
            }
            const Complex seen = waves_[i].value * std::conj(model) / length;
            rest += turned[i].along * seen.real() * seen.real() + turned[i].across * seen.imag() * seen.imag();
            product += turned[i].along * length * seen.real();
            size += turned[i].along * length * length;
        }
        best = std::min(best, rest + gas.far_fetched - (product > 0.0 ? product * product / size : 0.0));
    }
    return -0.5 * best;
}

}  // namespace kurbel::discover
