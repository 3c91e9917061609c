// A second look at firings that seem to have lost their work: might clutch or road have pushed the crank?
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <limits>

#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/firing_work.hpp"
#include "kurbel/stage/learned_engine.hpp"
#include "kurbel/stage/pending_firings.hpp"
#include "kurbel/stage/slow_torque.hpp"

namespace kurbel {

/// Asks SlowTorque about the oldest of the firings that wait, where it is to be doubted. Keeps how windows scatter just now beside
/// their learned covariance, which remembers minutes of other driving.
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
        return static_cast<Real>(torque.loss_ratio(x, engine.bank.response(oldest.place), static_cast<float>(error)));
    }

  private:
    static constexpr float kCycles = 2.0F;
    static constexpr float kMostMisfit = 4.0F;  // one odd window tells little
    static constexpr Real kDoubted = Real(0.7);

    [[nodiscard]] static bool doubtful(Real lost, int place, const Limits& limits) noexcept {
        return lost > kDoubted * limits[static_cast<std::size_t>(place)];
    }

    float usual_misfit_ = 1.0F;  // mean of the last windows
};

}  // namespace kurbel
