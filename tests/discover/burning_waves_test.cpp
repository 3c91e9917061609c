// Burning against the same engine without fuel: what is the same at one speed cancels.
#include "discover/burning_waves.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "discover/motored_line.hpp"
#include "kurbel/core/slider_crank.hpp"

namespace kurbel::discover {
namespace {

using Complex = std::complex<double>;
constexpr int kWaves = 12;

/// Two bins whose waves are no engine's: wheel errors, masses, a driveline.
MotoredLine any_line() {
    MotoredLine line;
    line.cycles = 60;
    line.energy = 4000.0;
    for (const double energy : {3000.0, 6000.0}) {
        MotoredBin bin;
        bin.energy = energy;
        bin.cycles = 30;
        for (int h = 0; h < kWaves; ++h) {
            bin.wave.push_back(std::polar(40.0 + 0.02 * energy, 1.3 * h + 0.0001 * energy));
            bin.variance.push_back(0.01);
        }
        line.bins.push_back(std::move(bin));
    }
    return line;
}

TEST(MotoredLine, IsStraightBetweenBinsAndBeyond) {
    const MotoredLine line = any_line();
    for (std::size_t h = 0; h < kWaves; ++h) {
        const Complex& low = line.bins[0].wave[h];
        const Complex& high = line.bins[1].wave[h];
        EXPECT_NEAR(std::abs(line.at(3000.0).wave[h] - low), 0.0, 1e-9);
        EXPECT_NEAR(std::abs(line.at(4500.0).wave[h] - 0.5 * (low + high)), 0.0, 1e-9);
        EXPECT_NEAR(std::abs(line.at(7500.0).wave[h] - (1.5 * high - 0.5 * low)), 0.0, 1e-9);
    }
    EXPECT_NEAR(line.at(4500.0).variance[0], 0.005, 1e-12);
    // Beyond the bins less is known.
    EXPECT_GT(line.at(7500.0).variance[0], 0.01);
}

TEST(BurningWaves, TellWhichOfTwoPlacesBurns) {
    const MotoredLine line = any_line();
    const CylinderSpectra spectra(kWaves);
    std::vector<std::size_t> used;
    for (std::size_t h = 0; h < kWaves; ++h) used.push_back(h);
    for (const Layout& layout : layouts()) {
        if (!shows_firings(layout, kWaves)) continue;
        std::vector<Complex> together;
        for (int h = 1; h <= kWaves; ++h) {
            Complex sum = 0.0;
            for (const double deg : layout.firing_tdc_deg) sum += std::polar(1.0, -0.5 * h * to_rad(deg));
            together.push_back(sum);
        }
        constexpr double kTdc_deg = 37.0;
        const GasShape& burn = spectra.burns()[spectra.burns().size() / 2];
        SpectrumPoint point;
        point.energy = 4200.0;
        point.cycles = 30;
        point.phasor = line.at(point.energy).wave;
        for (std::size_t h = 0; h < kWaves; ++h) {
            point.phasor[h] += 50.0 * burn.wave[h] * together[h] *
                               std::polar(1.0, -0.5 * static_cast<double>(h + 1) * to_rad(kTdc_deg));
            point.variance.push_back(0.01);
        }
        const BurningWaves waves(line, point, used);
        const auto chance = [&](double deg) { return waves.log_chance(spectra.burns(), together, layout, deg); };
        const double half = 0.5 * layout.period_deg;
        EXPECT_GT(chance(kTdc_deg), chance(kTdc_deg + half) + 3.0) << layout.name << " " << layout.cylinders();
        EXPECT_GT(chance(kTdc_deg), chance(kTdc_deg + 0.5 * half)) << layout.name << " " << layout.cylinders();
        EXPECT_GT(chance(kTdc_deg), chance(kTdc_deg - 0.5 * half)) << layout.name << " " << layout.cylinders();
    }
}

}  // namespace
}  // namespace kurbel::discover
