#include "discover/layout_choice.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "kurbel/core/slider_crank.hpp"

namespace kurbel::discover {

namespace {

/// What cylinders of one engine differ by: little, much, one of them dead (common practice, no source).
constexpr std::array<double, 3> kSpreads{0.04, 0.12, 0.4};
constexpr std::array<double, 3> kSpreadCost{0.0, 1.0, 2.5};
/// Near the crank's torsion, from here on at the latest, each cylinder shows in its own way (common practice, no source).
constexpr double kTorsion_hz = 300.0;
constexpr double kResonance = 10.0;  ///< by which that raises the power of a wave, in the mean over cranks
/// Tails: a wave three times as large as expected is nothing unusual (torsion, inertia, driveline).
constexpr double kFreedom = 3.0;
constexpr std::size_t kMostShapes = 16;
/// A wave that one shape has not at all is there in another, nearly like it; squared, of the largest.
constexpr double kLeastWave = 1e-4;

/// One point's waves of torque, squared.
struct Powers {
    std::vector<double> seen;
    std::vector<double> noise;
    std::vector<std::vector<double>> cylinder;  ///< one cylinder's, by what it may do, in units of its largest
    std::vector<double> twist;                  ///< share in which cylinders do not add up, for torsion
};

Powers powers_of(const CycleSpectrum& spectrum, const SpectrumPoint& point, const CylinderSpectra& spectra,
                 bool contrast) {
    Powers powers;
    const double speed_hz = std::sqrt(2.0 * point.energy) / (2.0 * std::numbers::pi);
    for (std::size_t h = 0; h < point.phasor.size(); ++h) {
        const double order = 0.5 * static_cast<double>(h + 1);
        double noise = point.variance[h];
        if (!contrast) noise += std::pow(point.energy * spectrum.wheel_error[h], 2);
        powers.seen.push_back(order * order * std::norm(point.phasor[h]));
        powers.noise.push_back(order * order * noise);
        powers.twist.push_back(std::min(1.0, std::pow(order * speed_hz / kTorsion_hz, 4)));
    }
    const auto& shapes = spectra.shapes(point.motored);
    const std::size_t step = std::max<std::size_t>(1, shapes.size() / kMostShapes);
    for (std::size_t i = 0; i < shapes.size(); i += step) {
        std::vector<double> cylinder;
        for (std::size_t h = 0; h < point.phasor.size(); ++h) {
            const double order = 0.5 * static_cast<double>(h + 1);
            // Near its torsion a crank swings many times as far as a stiff one would.
            const double near = std::min(1.0, std::pow(order * speed_hz / (0.67 * kTorsion_hz), 4));
            cylinder.push_back(order * order * (std::norm(shapes[i].wave[h]) + kLeastWave) * (1.0 + kResonance * near));
        }
        const double largest = *std::max_element(cylinder.begin(), cylinder.end());
        for (double& value : cylinder) value /= largest;
        powers.cylinder.push_back(std::move(cylinder));
    }
    return powers;
}

/// What is rare is believed later (judged from what is on the road; no source).
double rarity(const Layout& layout) {
    double cost = layout.even() ? 0.0 : 3.0;
    // Nearly even spacings look like even ones whose cylinders, or whose sensor's twist, differ: far more of those are about.
    if (layout.nearly_even()) cost += 6.0;
    if (layout.cylinders() > 8) cost += 1.5;
    // One in some ten thousand; a shorter engine whose firings' own wave is lost, gas exchange against compression, looks like one.
    if (layout.cylinders() > 12) cost += 7.0;
    return cost;
}

double cost(const Powers& powers, const std::vector<double>& cylinder, const std::vector<bool>& told,
            const std::vector<double>& coherence, double spread, double size) {
    double sum = 0.0;
    for (std::size_t h = 0; h < powers.seen.size(); ++h) {
        if (!told[h]) continue;
        const double expected = size * cylinder[h] * (coherence[h] + spread + powers.twist[h] / 16.0) + powers.noise[h];
        sum += (1.0 + 0.5 * kFreedom) * std::log1p(powers.seen[h] / (0.5 * kFreedom * expected)) + std::log(expected);
    }
    return sum;
}

}  // namespace

bool shows(const Layout& layout, const CycleSpectrum& spectrum) { return shows_firings(layout, spectrum.waves); }

std::vector<LayoutScore> score_layouts(const CycleSpectrum& spectrum, const CylinderSpectra& spectra) {
    std::vector<Powers> points;
    for (const Contrast& contrast : contrasts(spectrum))
        points.push_back(powers_of(spectrum, contrast.point, spectra, true));
    if (points.empty())
        for (const SpectrumPoint& point : spectrum.points) points.push_back(powers_of(spectrum, point, spectra, false));
    std::vector<LayoutScore> scores;
    for (const Layout& layout : layouts()) {
        // The wave of the firings must show, and something beside it.
        if (!shows(layout, spectrum)) continue;
        std::vector<double> coherence;
        for (int h = 1; h <= spectrum.waves; ++h) {
            std::complex<double> sum = 0.0;
            for (const double deg : layout.firing_tdc_deg) sum += std::polar(1.0, -0.5 * h * to_rad(deg));
            coherence.push_back(std::norm(sum) / (layout.cylinders() * layout.cylinders()));
        }
        double best = std::numeric_limits<double>::infinity();
        for (std::size_t s = 0; s < kSpreads.size(); ++s) {
            double sum = kSpreadCost[s] + rarity(layout);
            for (const Powers& powers : points) {
                const double most = *std::max_element(powers.seen.begin(), powers.seen.end());
                const double spread = kSpreads[s] * kSpreads[s] / layout.cylinders();
                double least = std::numeric_limits<double>::infinity();
                for (const auto& cylinder : powers.cylinder)
                    for (double size = 1e-2 * most; size < 1e3 * most; size *= 2.0)
                        least = std::min(least, cost(powers, cylinder, spectrum.told, coherence, spread, size));
                // Points of one engine are no independent witnesses: they count as two at most.
                sum += least * std::min(1.0, 2.0 / static_cast<double>(points.size()));
            }
            best = std::min(best, sum);
        }
        scores.push_back({&layout, best, rarity(layout)});
    }
    std::sort(scores.begin(), scores.end(), [](const LayoutScore& a, const LayoutScore& b) { return a.cost < b.cost; });
    return scores;
}

}  // namespace kurbel::discover
