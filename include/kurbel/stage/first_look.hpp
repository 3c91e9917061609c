// The first look at an engine that has just become known: what the firings that waited tell together.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/firing_windows.hpp"
#include "kurbel/stage/first_guess.hpp"
#include "kurbel/stage/waiting_losses.hpp"
#include "kurbel/stage/weighted_scatter.hpp"

namespace kurbel {

/// Finds the misfires among the firings that waited, learns pattern and scatter without them, and begins the rehearsals. Lives for one
/// call: it keeps nothing.
template <class Real>
class FirstLook {
  public:
    /// `windows` outlive it; `end`: the bin behind the last cycle that was learned.
    FirstLook(FiringWindows<Real>& windows, const CycleGrid& grid, int hold, std::int64_t end) noexcept
        : windows_(windows), hold_(hold), losses_{windows, grid.bins, end} {}

    void take() noexcept {
        auto& [engine, pending, rehearsal, before, size] = windows_;
        FirstGuess<Real>(losses_).take();
        // Twice, for the first look knows nothing of how this engine's windows scatter.
        losses_.find_and_take_out();
        losses_.learn_again(false);
        learn_from_waiting();
        losses_.put_back();
        losses_.learn_again(false);
        engine.match();
        losses_.find_and_take_out();
        tell_life();
        losses_.learn_again(true);
        losses_.suspects = engine.suspects(losses_.end - losses_.bins);
        if (losses_.found.burns_at_times(losses_.suspects)) {
            // Who loses most of the firings, not all: those that burned tell where healthy is.
            losses_.put_back();
            losses_.learn_again(false);
            losses_.find_and_take_out();
            losses_.learn_again(true);
        }
        losses_.put_back();
        rehearsal.begin(pending[0].bin, windows_.newest() - hold_);
        for (int n = 0; n < losses_.found.losses(); ++n)
            rehearsal.note(pending[losses_.found.firing(n)].bin, losses_.found.lost(n));
        windows_.look_again();
    }

    /// How the firings scatter that have not lost anything, and how many they are.
    [[nodiscard]] Real scatter() const noexcept { return losses_.found.deviation(); }
    [[nodiscard]] int healthy() const noexcept { return losses_.found.others(); }

  private:
    /// Tells how each place's firings scatter that lost nothing, by which those that burn are told from a dead cylinder's. How far a firing
    /// is off by measurement does not grow with its work: where that is little (fuel has just come back), its share of it says little. Where most
    /// firings of a place lost their work, or all did, those that seem not to have may be what is wrong.
    void tell_life() noexcept {
        std::array<WeightedScatter<Real>, kMaxCylinders> places{};
        std::array<int, kMaxCylinders> losing{};  // firings that lost their work, less those that did not
        for (int i = 0; i < windows_.pending.count(); ++i) {
            const PendingFiring<Real>& entry = windows_.pending[i];
            if (!windows_.is_whole(entry) || losses_.found.is_open(entry.place)) continue;
            losing[static_cast<std::size_t>(entry.place)] += losses_.found.has_lost(i) ? 1 : -1;
            if (losses_.found.has_lost(i)) continue;
            places[static_cast<std::size_t>(entry.place)].add(losses_.found.left(i), entry.expected * entry.expected);
        }
        for (int k = 0; k < kMaxCylinders; ++k) {
            const WeightedScatter<Real>& place = places[static_cast<std::size_t>(k)];
            const Real count = place.count() + Real(1e-3);  // rounding must not take one away
            if (count >= Real(2) && losing[static_cast<std::size_t>(k)] < 0)
                windows_.engine.levels.begin_life(k, static_cast<int>(count), place.mean(), place.variance());
        }
    }

    /// Learns how windows scatter from those that waited and lost nothing.
    void learn_from_waiting() noexcept {
        auto& [engine, pending, rehearsal, before, size] = windows_;
        // The pattern was learned from these windows, too.
        const float own = std::sqrt(1.0F - static_cast<float>(rehearsal.leverage(engine.cycles())));
        Window x{};
        for (int i = 0; i < pending.count(); ++i) {
            const PendingFiring<Real>& entry = pending[i];
            if (!windows_.is_whole(entry) || losses_.found.has_lost(i) || losses_.found.is_open(entry.place)) continue;
            windows_.fill(entry, x);
            for (float& value : x) value /= own;
            engine.covariance.learn(x, 1.0F);
        }
    }

    FiringWindows<Real>& windows_;
    int hold_;
    WaitingLosses<Real> losses_;
};

}  // namespace kurbel
