// A chain of inertias joined by springs and dampers, and its natural frequencies.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>

#include "kurbel/core/types.hpp"
#include "kurbel/simulate/portable_math.hpp"

namespace kurbel::simulate {

/// Damper ring, pulley, throws, flywheel, second flywheel mass, and in gear gearbox, wheels and vehicle.
inline constexpr int kMaxMasses = kMaxCylinders + 7;

/// Free at both ends; link i joins mass i and mass i + 1.
struct TorsionChain {
    int masses = 0;
    std::array<double, kMaxMasses> inertia_kg_m2{};
    std::array<double, kMaxMasses> stiffness_nm_rad{};
    std::array<double, kMaxMasses> damping_nm_s_rad{};

    [[nodiscard]] double total_inertia_kg_m2() const noexcept {
        double sum = 0.0;
        for (int i = 0; i < masses; ++i) sum += inertia_kg_m2[static_cast<std::size_t>(i)];
        return sum;
    }

    /// Number of undamped natural frequencies below `omega_rad_s`, rigid rotation included. The chain's dynamic stiffness
    /// K - w^2 J is tridiagonal: the negative pivots of its factorisation count them (Sylvester's law of inertia).
    [[nodiscard]] int modes_below(double omega_rad_s) const noexcept {
        int count = 0;
        double pivot = 1.0;
        for (int i = 0; i < masses; ++i) {
            const auto n = static_cast<std::size_t>(i);
            const double before = i > 0 ? stiffness_nm_rad[n - 1] : 0.0;
            const double after = i + 1 < masses ? stiffness_nm_rad[n] : 0.0;
            double next = before + after - omega_rad_s * omega_rad_s * inertia_kg_m2[n];
            if (i > 0) next -= before * before / pivot;
            if (next == 0.0) next = -1e-300;
            if (next < 0.0) ++count;
            pivot = next;
        }
        return count;
    }

    /// Undamped natural frequency of mode `mode` (0 is rigid rotation), by bisection; 0 for mode 0 or none.
    [[nodiscard]] double mode_rad_s(int mode) const noexcept {
        if (mode < 1 || mode >= masses) return 0.0;
        double low = 0.0;
        double high = 1.0;
        while (modes_below(high) <= mode) high *= 2.0;
        for (int i = 0; i < 100; ++i) {
            const double middle = 0.5 * (low + high);
            (modes_below(middle) > mode ? high : low) = middle;
        }
        return 0.5 * (low + high);
    }

    /// Inertia that the mode at `omega_rad_s`, which must be a natural frequency, has as felt at mass 0: the sum of all
    /// inertias times their amplitudes squared, mass 0 moving by 1 (Holzer's table).
    [[nodiscard]] double modal_inertia_kg_m2(double omega_rad_s) const noexcept {
        double sum = 0.0;
        double torque = 0.0;
        double amplitude = 1.0;
        for (int i = 0; i < masses; ++i) {
            const auto n = static_cast<std::size_t>(i);
            sum += inertia_kg_m2[n] * amplitude * amplitude;
            torque += omega_rad_s * omega_rad_s * inertia_kg_m2[n] * amplitude;
            if (i + 1 < masses) amplitude -= torque / stiffness_nm_rad[n];
        }
        return sum;
    }

    /// Multiplies the stiffness of links `first` to `last` - 1.
    void scale_stiffness(int first, int last, double factor) noexcept {
        for (int i = first; i < last; ++i) stiffness_nm_rad[static_cast<std::size_t>(i)] *= factor;
    }
};

}  // namespace kurbel::simulate
