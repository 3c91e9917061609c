// A second look at firings that seem to have lost their work: might clutch or road have pushed the crank?
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <limits>

#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/firing_work.hpp"
#include "kurbel/stage/learned_engine.hpp"
#include "kurbel/stage/pending_firings.hpp"
#include "kurbel/stage/slow_torque.hpp"

namespace kurbel {

/// Asks SlowTorque about the oldest of the firings that wait, where it is to be doubted, and allows for a charge that is not what it is
/// taken for. Keeps how windows scatter just now beside their learned covariance, which remembers minutes of other driving.
template <class Real>
class SecondLook {
  public:
    using Limits = typename PendingFirings<Real>::Limits;

    void begin() noexcept { usual_misfit_ = 1.0F; }

    /// Takes how much of a window neither health nor misfire explained.
    void follow(Real strange, int firings) noexcept {
        usual_misfit_ += (std::min(static_cast<float>(strange), kMostMisfit) - usual_misfit_) /
                         (kCycles * static_cast<float>(firings));
    }

    /// Logarithm of the likelihood ratio of lost work over none for the oldest firing, whose whole window begins `before` bins before
    /// its TDC; infinite where there is nothing to doubt or not enough is known. `lost`: what it seems to have lost.
    [[nodiscard]] Real loss_ratio(const LearnedEngine<Real>& engine, const PendingFirings<Real>& pending, Real lost,
                                  const Outlook<Real>& outlook, const CycleGrid& grid, int before) const noexcept {
        const PendingFiring<Real>& oldest = pending[0];
        const int size = engine.covariance.size();
        if (engine.levels.is_dead(oldest.place) || oldest.length < size || !oldest.begins() ||
            !engine.covariance.learned() || !doubtful(lost, oldest.place, outlook.limits))
            return std::numeric_limits<Real>::infinity();
        // With all that the neighbours have done still in it: they are looked at anew, too.
        Window x{};
        engine.residuals.fill(oldest.bin - before, size, oldest.expected, x);
        auto usual = engine.covariance.present(engine.bank.doubt(), engine.edges.matched());
        // Where windows scatter less than they did, so does this one.
        usual *= std::min(usual_misfit_, 1.0F);
        const auto useful = static_cast<float>(oldest.expected / engine.expected.learned_at_full_charge());
        const Real bin_s = static_cast<Real>(grid.bin_deg / 6.0) / engine.residuals.speed_around(oldest.bin);
        SlowTorque torque(usual, static_cast<float>(bin_s), useful);
        for (int i = 1; i < pending.count(); ++i) {
            const PendingFiring<Real>& other = pending[i];
            const std::int64_t shift = other.bin - oldest.bin;
            if (shift >= size || !other.usable()) continue;
            const bool dead = engine.levels.is_dead(other.place);
            const bool fails = !dead && outlook.failing[static_cast<std::size_t>(other.place)];
            if (fails || doubtful(other.amplitude + (dead ? Real(1) : Real(0)), other.place, outlook.limits) != dead)
                torque.allow(engine.bank.response(other.place), static_cast<int>(shift));
        }
        const Real error = engine.expected.error(oldest.expected, engine.residuals.load_told());
        allow_charge(torque, engine, oldest, grid, before);
        return static_cast<Real>(torque.loss_ratio(x, engine.bank.response(oldest.place), static_cast<float>(error)));
    }

  private:
    /// Where nobody tells the load, all that the pattern is off by where load or speed are new to it may be that the charge is another than it was taken
    /// for: then all firings do more or less than they should. Of fewer than three a loss itself looks like that.
    static void allow_charge(SlowTorque& torque, const LearnedEngine<Real>& engine, const PendingFiring<Real>& oldest,
                             const CycleGrid& grid, int before) noexcept {
        if (grid.firings < 3 || engine.residuals.load_told()) return;
        const int size = engine.covariance.size();
        const Window shape = all_firings(engine, oldest, before, size);
        const auto square = static_cast<Real>(dot(shape, shape));
        if (!(square > Real(0))) return;
        const Real work = oldest.expected;
        const Real off = engine.pattern_doubt(oldest.bin, work) * engine.residuals.pattern().noise() / (work * work);
        torque.allow_charge(shape, static_cast<float>(std::min(std::sqrt(off * Real(size) / square),
                                                               engine.expected.error(work, false))));
    }

    /// What all firings around the oldest one do that are not held dead, in its window.
    [[nodiscard]] static Window all_firings(const LearnedEngine<Real>& engine, const PendingFiring<Real>& oldest,
                                            int before, int size) noexcept {
        Window shape{};
        const int length = engine.bank.length();
        for (int tdc = before - length; tdc < size + before; ++tdc) {
            const int place = engine.residuals.firing_at(oldest.bin - before + tdc);
            if (place < 0 || engine.levels.is_dead(place)) continue;
            const int shift = tdc - before;
            const auto& response = engine.bank.response(place);
            for (int j = std::max(shift, 0); j < std::min(size, shift + length); ++j)
                shape[static_cast<std::size_t>(j)] += response[static_cast<std::size_t>(j - shift)];
        }
        return shape;
    }

    static constexpr float kCycles = 2.0F;
    static constexpr float kMostMisfit = 4.0F;  // one odd window tells little
    static constexpr Real kDoubted = Real(0.7);

    [[nodiscard]] static bool doubtful(Real lost, int place, const Limits& limits) noexcept {
        return lost > kDoubted * limits[static_cast<std::size_t>(place)];
    }

    float usual_misfit_ = 1.0F;  // mean of the last windows
};

}  // namespace kurbel
