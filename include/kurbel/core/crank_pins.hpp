// Which pin of the crank each cylinder works on, from the firing order where nobody tells.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "kurbel/core/config.hpp"

namespace kurbel {

/// Pins of a crank, from the front, 1-based.
class CrankPins {
  public:
    /// As told, or as the TDCs of the cylinders make likely. A crank in line looks the same from both ends where its cylinders are even in number:
    /// the first and the last reach TDC at once, the second and the last but one, and so on. Two banks have their cylinders in pairs, one
    /// of either bank: in a V two on one pin, so that all pairs are the same angle apart, in a boxer two on pins beside each other that reach TDC at
    /// once. They are numbered side by side (1-2, 3-4, ...) or bank by bank (1-4, 2-5, 3-6); where both fit, the banks fire in turn as
    /// often as they can. Where neither fits the cylinders are numbered from the front, each on its own pin (common practice, no source).
    explicit CrankPins(const EngineConfig& engine) noexcept : cylinders_(engine.cylinders) {
        for (int c = 0; c < cylinders_; ++c) {
            const int told = engine.throw_number[at(c)];
            pin_[at(c)] = told > 0 ? told : c + 1;
        }
        if (std::all_of(engine.throw_number.begin(), engine.throw_number.end(), [](int told) { return told <= 0; }) &&
            cylinders_ % 2 == 0)
            pair(engine);
        pins_ = *std::max_element(pin_.begin(), pin_.end());
    }

    [[nodiscard]] int count() const noexcept { return pins_; }
    /// Pin of the cylinder of this number, 1-based.
    [[nodiscard]] int of(int cylinder) const noexcept { return pin_[at(cylinder - 1)]; }

  private:
    static constexpr double kSame_deg = 1.0;
    static constexpr double kWidestVee_deg = 150.0;

    /// Cylinders `step` numbers apart, the first of every pair `stride` from the next pair's.
    struct Pairs {
        int step;
        int stride;
    };

    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }

    /// Crank degrees from one cylinder's TDC to another's, revolutions left out; -180 to 180.
    [[nodiscard]] double apart(int from, int to) const noexcept {
        return std::remainder(tdc_deg_[at(to)] - tdc_deg_[at(from)], 360.0);
    }

    void pair(const EngineConfig& engine) noexcept {
        for (int i = 0; i < cylinders_; ++i)
            tdc_deg_[at(engine.firing_order[at(i)] - 1)] = engine.firing_tdc_deg[at(i)];
        if (looks_alike_from_both_ends()) return;
        const Pairs side_by_side{1, 2};
        const Pairs bank_by_bank{cylinders_ / 2, 1};
        const bool side = fit(side_by_side);
        const bool bank = fit(bank_by_bank);
        if (side && (!bank || turns(engine, side_by_side) >= turns(engine, bank_by_bank)))
            put(side_by_side);
        else if (bank)
            put(bank_by_bank);
    }

    [[nodiscard]] bool looks_alike_from_both_ends() const noexcept {
        for (int c = 0; c < cylinders_ / 2; ++c)
            if (std::fabs(apart(c, cylinders_ - 1 - c)) > kSame_deg) return false;
        return true;
    }

    /// Whether the banks of all pairs are the same angle apart, and one that engines are built with.
    [[nodiscard]] bool fit(Pairs pairs) const noexcept {
        const double first = apart(0, pairs.step);
        if (std::fabs(first) > kWidestVee_deg) return false;
        for (int i = 1; i < cylinders_ / 2; ++i) {
            const int c = i * pairs.stride;
            if (std::fabs(std::remainder(apart(c, c + pairs.step) - first, 360.0)) > kSame_deg) return false;
        }
        return true;
    }

    /// How often the next cylinder to fire is of the other bank.
    [[nodiscard]] int turns(const EngineConfig& engine, Pairs pairs) const noexcept {
        const auto in_second = [&](int place) { return ((engine.firing_order[at(place)] - 1) / pairs.step) % 2; };
        int count = 0;
        for (int i = 0; i < cylinders_; ++i) count += in_second(i) != in_second((i + 1) % cylinders_) ? 1 : 0;
        return count;
    }

    void put(Pairs pairs) noexcept {
        const bool boxer = std::fabs(apart(0, pairs.step)) <= kSame_deg;
        for (int i = 0; i < cylinders_ / 2; ++i) {
            const int c = i * pairs.stride;
            pin_[at(c)] = boxer ? 2 * i + 1 : i + 1;
            pin_[at(c + pairs.step)] = boxer ? 2 * i + 2 : i + 1;
        }
    }

    int cylinders_;
    int pins_ = 0;
    std::array<int, kMaxCylinders> pin_{};
    std::array<double, kMaxCylinders> tdc_deg_{};  // by cylinder
};

}  // namespace kurbel
