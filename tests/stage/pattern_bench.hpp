// Patterns of a rigid crank that are known exactly, and who is asked of them.
#pragma once

#include <random>
#include <string>
#include <vector>

#include "kurbel/stage/persistent_misfire.hpp"
#include "stage/rigid_pattern.hpp"

namespace kurbel::test {

using Persistent = PersistentMisfire<double>;

inline const CylinderLife<double> kSilent{};  // no firing has told anything

/// An engine whose cycles scatter, and what is learned of it, whoever does which work.
struct PatternBench : CrankParts {
    explicit PatternBench(const EngineConfig& engine, double at_rpm = 1500.0) : CrankParts(engine), speed_rpm(at_rpm) {
        bank.set_speed(static_cast<float>(speed_rpm));
        for (int k = 0; k < engine.cylinders; ++k) {
            PerPlace one{};
            one[static_cast<std::size_t>(k)] = 1.0;
            unit_.push_back(rigid_differences(*this, one, PerPlace{}));
        }
        compression_ = rigid_differences(*this, PerPlace{}, all_places(kIntake));
        persistent.begin(config.engine, config.crank_wheel, grid, bank, -before, size);
    }

    /// Cycles scatter: every firing by 5 %, every bin by 1 % of a firing's work.
    void track(int cycles) {
        std::normal_distribution<double> normal;
        for (int n = 0; n < cycles; ++n) {
            PerPlace scatter{};
            for (double& value : scatter) value = 0.05 * normal(random);
            CycleOfBins residual = sum_of(scatter);
            for (double& value : residual) value = kExpected * (value + 0.01 * normal(random));
            persistent.track(residual, kExpected);
        }
    }

    [[nodiscard]] LearnedPattern<double> pattern(const PerPlace& work) const {
        CycleOfBins difference = sum_of(work);
        for (std::size_t b = 0; b < compression_.size(); ++b) difference[b] += compression_[b];
        return rigid_pattern(*this, difference, speed_rpm);
    }

    /// Healthy firings whose work differs by `spread` from cylinder to cylinder.
    [[nodiscard]] PerPlace healthy(double spread) {
        std::normal_distribution<double> normal(1.0, spread);
        PerPlace work{};
        for (int k = 0; k < config.engine.cylinders; ++k) work[static_cast<std::size_t>(k)] = normal(random);
        return work;
    }

    double speed_rpm;
    Persistent persistent{};
    std::mt19937_64 random{41};

  private:
    [[nodiscard]] CycleOfBins sum_of(const PerPlace& work) const {
        CycleOfBins sum{};
        for (std::size_t k = 0; k < unit_.size(); ++k)
            for (std::size_t b = 0; b < sum.size(); ++b) sum[b] += work[k] * unit_[k][b];
        return sum;
    }

    std::vector<CycleOfBins> unit_;  // of one combustion at each place
    CycleOfBins compression_{};
};

/// The places of a set.
inline std::vector<int> named(const Persistent::Set& set) {
    std::vector<int> places;
    for (std::size_t k = 0; k < set.size(); ++k)
        if (set[k]) places.push_back(static_cast<int>(k));
    return places;
}

struct NamedEngine {
    std::string name;
    EngineConfig engine;
};
inline std::vector<NamedEngine> named_engines() {
    return {{"I3", engine_of({1, 3, 2})},
            {"I4", engine_of({1, 3, 4, 2})},
            {"I5", engine_of({1, 2, 4, 5, 3})},
            {"V6", engine_of({1, 2, 3, 4, 5, 6})},
            {"odd V6", engine_of({1, 6, 5, 4, 3, 2}, {0, 90, 240, 330, 480, 570})}};
}

}  // namespace kurbel::test
