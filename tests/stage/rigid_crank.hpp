// A rigid crank on paper, in fine steps of angle: what its bins show, computed without the stages that are to be tested.
#pragma once

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <initializer_list>
#include <numbers>
#include <random>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/reference_torque.hpp"
#include "kurbel/stage/response_bank.hpp"
#include "kurbel/stage/window_covariance.hpp"

namespace kurbel::test {

inline EngineConfig engine_of(std::initializer_list<int> order, std::initializer_list<double> tdc_deg = {}) {
    EngineConfig engine;
    for (const int cylinder : order) engine.firing_order[static_cast<std::size_t>(engine.cylinders++)] = cylinder;
    make_even_firing(engine);
    std::size_t at = 0;
    for (const double deg : tdc_deg) engine.firing_tdc_deg[at++] = deg;
    return engine;
}

/// An engine with its grid and its responses, set up as the estimator does it: 90 degrees before to 420 after TDC.
struct CrankParts {
    explicit CrankParts(const EngineConfig& engine, SensorAt at = SensorAt::flywheel) {
        config.engine = engine;
        const std::array<int, 2> absent{58, 59};
        static_cast<void>(make_even_wheel(60, absent.data(), 2, config.crank_wheel));
        config.crank_wheel.at = at;
        grid = make_cycle_grid(config.engine, config.crank_wheel);
        before = static_cast<int>(std::ceil(90.0 / grid.bin_deg - 1e-9));
        size = std::min(kMaxWindow, before + static_cast<int>(std::floor(420.0 / grid.bin_deg + 1e-9)));
        bank.begin(config.engine, config.crank_wheel, grid, -before, size,
                   size + static_cast<int>(std::lround(360.0 / grid.bin_deg)));
    }

    Config config{};
    CycleGrid grid{};
    int before = 0;
    int size = 0;
    ResponseBank bank{};
};

/// The same with responses matched to windows whose bins scatter independently, `noise` of a firing's work each.
struct MatchedCrank : CrankParts {
    explicit MatchedCrank(const EngineConfig& engine, SensorAt at = SensorAt::flywheel, double speed_rpm = 1500.0,
                          double noise = 0.05)
        : CrankParts(engine, at) {
        bank.set_speed(static_cast<float>(speed_rpm));
        covariance.begin(size);
        covariance.add_prior_diagonal(static_cast<float>(noise * noise));
        covariance.end_prior();
        match();
    }

    /// After responses or covariance changed.
    void match() {
        bank.compose(covariance);
        ASSERT_TRUE(covariance.factorise(bank.doubt()));
        bank.match(covariance);
    }

    WindowCovariance covariance{};
};

using PerPlace = std::array<double, kMaxCylinders>;
using CycleOfBins = std::array<double, kMaxBins>;

inline PerPlace all_places(double value) {
    PerPlace places{};
    places.fill(value);
    return places;
}

/// Differences of the mean energy of a bin and the one before it, stored with the earlier one, over one cycle. `work`: of each
/// combustion, by place; `intake`: intake pressure over indicated mean pressure, by place. Unit: one combustion's work.
inline CycleOfBins rigid_differences(const CrankParts& parts, const PerPlace& work, const PerPlace& intake,
                                     double centre_deg = 9.0) {
    constexpr double kStep_deg = 0.25;
    const EngineConfig& engine = parts.config.engine;
    const SliderCrank crank = SliderCrank::of(engine);
    const CombustionWork combustion(crank, centre_deg);
    const double cycle_deg = engine.cycle_deg();
    const auto steps = static_cast<std::size_t>(std::lround(cycle_deg / kStep_deg));
    std::vector<double> gained(steps, 0.0);
    double total = 0.0;
    for (int k = 0; k < engine.cylinders; ++k) {
        const auto place = static_cast<std::size_t>(k);
        for (std::size_t i = 0; i < steps; ++i) {
            // Angle after this TDC, -180 to the rest of the cycle.
            double deg = (static_cast<double>(i) + 0.5) * kStep_deg - engine.firing_tdc_deg[place];
            deg -= cycle_deg * std::floor((deg + 180.0) / cycle_deg);
            double step = 0.0;
            if (deg < 180.0)
                step += intake[place] * 0.5 * to_rad(kStep_deg) * crank.lever(to_rad(deg)) *
                        std::pow(crank.compression_ratio / crank.volume(to_rad(deg)), 1.3);
            const int pulse = static_cast<int>(
                std::floor((deg - CombustionWork::kFirst_deg) / static_cast<double>(CombustionWork::kStep_deg)));
            if (pulse >= 0) step += work[place] * combustion.pulse(pulse) * kStep_deg / CombustionWork::kStep_deg;
            gained[i] += step;
            total += step;
        }
    }
    CycleOfBins mean{};
    double energy = 0.0;
    const auto per_bin = steps / static_cast<std::size_t>(parts.grid.bins);
    for (std::size_t i = 0; i < steps; ++i) {
        // The load takes what the cycle gives; the energy of a step's middle.
        const double step = gained[i] - total / static_cast<double>(steps);
        mean[std::min(i / per_bin, static_cast<std::size_t>(parts.grid.bins - 1))] +=
            (energy + 0.5 * step) / static_cast<double>(per_bin);
        energy += step;
    }
    CycleOfBins difference{};
    for (int b = 0; b < parts.grid.bins; ++b)
        difference[static_cast<std::size_t>(b)] =
            mean[static_cast<std::size_t>((b + 1) % parts.grid.bins)] - mean[static_cast<std::size_t>(b)];
    return difference;
}

/// What errors of the wheel add to these differences: independent errors of each bin's edge, the same in every revolution.
inline CycleOfBins wheel_error_differences(const CrankParts& parts, double energy, double rms_deg, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0.0, to_rad(rms_deg));
    const int per_rev = static_cast<int>(std::lround(360.0 / parts.grid.bin_deg));
    std::vector<double> error;
    for (int b = 0; b < per_rev; ++b) error.push_back(normal(random));
    const auto apparent = [&](int b) {
        const double longer =
            error[static_cast<std::size_t>((b + 1) % per_rev)] - error[static_cast<std::size_t>(b % per_rev)];
        return energy * 2.0 * longer / to_rad(parts.grid.bin_deg);
    };
    CycleOfBins difference{};
    for (int b = 0; b < parts.grid.bins; ++b) difference[static_cast<std::size_t>(b)] = apparent(b + 1) - apparent(b);
    return difference;
}

}  // namespace kurbel::test
