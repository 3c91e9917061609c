// What a healthy engine's cycle should look like before anything of it is known.
#pragma once

#include <array>
#include <cmath>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/reference_torque.hpp"
#include "kurbel/stage/usual_engine.hpp"

namespace kurbel {

/// Differences of a rigid crank's energy from each bin to the next, each with its mean over the cycle removed: of the combustion of all cylinders
/// per unit of their work, of compression and expansion per unit of intake pressure over indicated mean pressure, and of
/// reciprocating masses per unit of energy.
struct HealthyCycle {
    std::array<float, kMaxBins> combustion{};
    std::array<float, kMaxBins> compression{};
    std::array<float, kMaxBins> inertia{};
    bool diesel = false;  ///< nothing throttles the air, whatever the load

    /// Nothing is known.
    HealthyCycle() = default;

    HealthyCycle(const EngineConfig& engine, const CycleGrid& grid) noexcept {
        diesel = is_diesel(engine);
        const SliderCrank crank = SliderCrank::of(engine);
        const CombustionWork burn(crank, kUsualBurn_deg);
        std::array<float, 2 * kMaxBins> lost{};
        const int before = static_cast<int>(std::ceil(90.0 / grid.bin_deg));
        const int length = static_cast<int>(std::ceil(330.0 / grid.bin_deg));
        const double share = mass_share(engine);
        for (int k = 0; k < grid.firings; ++k) {
            const auto place = static_cast<std::size_t>(k);
            lost_combustion(burn, grid.bin_deg, -before, length, grid.tdc_offset[place], 0.0, lost.data());
            const double tdc = grid.tdc_bin[place] + static_cast<double>(grid.tdc_offset[place]);
            for (int j = 0; j < length; ++j)
                combustion[static_cast<std::size_t>(place_of(grid.bins + grid.tdc_bin[place] - before + j,
                                                             grid.bins))] -= lost[static_cast<std::size_t>(j)];
            for (int b = 0; b < grid.bins; ++b) {
                const auto at = static_cast<std::size_t>(b);
                // Of this bin and the next one: where that begins.
                const double next_deg = (b + 1 - tdc) * grid.bin_deg;
                compression[at] += static_cast<float>(squeeze(crank, next_deg, grid));
                inertia[at] -= static_cast<float>(share * swing(crank, next_deg, grid.bin_deg));
            }
        }
        centre(combustion, grid.bins);
        centre(compression, grid.bins);
        centre(inertia, grid.bins);
    }

  private:
    /// A difference of two bins weighs torque by a triangle around the later bin's beginning.
    static double squeeze(const SliderCrank& crank, double deg, const CycleGrid& grid) noexcept {
        constexpr double kExponent = 1.3;
        constexpr int kParts = 12;
        const double cycle = grid.bins * grid.bin_deg;
        double sum = 0.0;
        for (int i = -kParts; i < kParts; ++i) {
            const double share = (i + 0.5) / kParts;
            const double here = std::remainder(deg + share * grid.bin_deg, cycle);
            if (std::fabs(here) >= 180.0) continue;
            const double angle = to_rad(here);
            sum += (1.0 - std::fabs(share)) * crank.lever(angle) *
                   std::pow(crank.compression_ratio / crank.volume(angle), kExponent);
        }
        return sum / kParts * 0.5 * to_rad(grid.bin_deg);
    }

    /// Change of lever squared from the bin before to this one.
    static double swing(const SliderCrank& crank, double deg, double bin_deg) noexcept {
        constexpr int kParts = 8;
        double sum = 0.0;
        for (int i = 0; i < kParts; ++i) {
            const double at = deg + (i + 0.5) / kParts * bin_deg;
            const double now = crank.lever(to_rad(at));
            const double was = crank.lever(to_rad(at - bin_deg));
            sum += now * now - was * was;
        }
        return sum / kParts;
    }

    static void centre(std::array<float, kMaxBins>& values, int bins) noexcept {
        float sum = 0;
        for (int b = 0; b < bins; ++b) sum += values[static_cast<std::size_t>(b)];
        for (int b = 0; b < bins; ++b) values[static_cast<std::size_t>(b)] -= sum / static_cast<float>(bins);
    }
};

}  // namespace kurbel
