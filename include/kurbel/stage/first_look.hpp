// The first look at an engine that has just become known: what the firings that waited tell together.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/firing_windows.hpp"
#include "kurbel/stage/first_losses.hpp"
#include "kurbel/stage/misfire_response.hpp"
#include "kurbel/stage/weighted_scatter.hpp"

namespace kurbel {

/// Finds the misfires among the firings that waited, learns pattern and scatter without them, and begins the rehearsals. Lives for one
/// call: it keeps nothing.
template <class Real>
class FirstLook {
  public:
    /// `windows` outlive it; `end`: the bin behind the last cycle that was learned.
    FirstLook(FiringWindows<Real>& windows, const CycleGrid& grid, int hold, std::int64_t end) noexcept
        : windows_(windows), bins_(grid.bins), hold_(hold), end_(end) {}

    void take() noexcept {
        auto& [engine, pending, rehearsal, before, size] = windows_;
        try_hypotheses();
        // Twice, for the first look knows nothing of how this engine's windows scatter.
        take_out_losses();
        windows_.learn_again(end_, bins_, false);
        learn_from_waiting();
        engine.residuals.put_back(windows_.first_waiting());
        windows_.learn_again(end_, bins_, false);
        engine.match();
        take_out_losses();
        tell_life();
        windows_.learn_again(end_, bins_, true);
        suspects_ = engine.suspects(end_ - bins_);
        if (first_.burns_at_times(suspects_)) {
            // Who loses most of the firings, not all: those that burned tell where healthy is.
            engine.residuals.put_back(windows_.first_waiting());
            windows_.learn_again(end_, bins_, false);
            take_out_losses();
            windows_.learn_again(end_, bins_, true);
        }
        engine.residuals.put_back(windows_.first_waiting());
        rehearsal.begin(pending[0].bin, windows_.newest() - hold_);
        for (int n = 0; n < first_.losses(); ++n) rehearsal.note(pending[first_.firing(n)].bin, first_.lost(n));
        windows_.look_again();
    }

    /// How the firings scatter that have not lost anything, and how many they are.
    [[nodiscard]] Real scatter() const noexcept { return first_.deviation(); }
    [[nodiscard]] int healthy() const noexcept { return first_.others(); }

  private:
    static constexpr Real kLimit = Real(3);  // healthy deviations: what is taken for lost too often costs little

    /// Asks which kind of response explains most of what the waiting firings show together.
    void try_hypotheses() noexcept {
        auto& engine = windows_.engine;
        if (!engine.bank.untaught()) return;
        const auto square = [this](const PendingFiring<Real>& entry) {
            Window x{};
            windows_.fill(entry, x);
            return windows_.engine.covariance.square(x);
        };
        for (int h = 0; h < engine.bank.hypotheses(); ++h) {
            engine.assume(h);
            find_losses();
            engine.bank.expect(h, static_cast<float>(first_.gain(windows_.pending, engine.bank, square)));
        }
        engine.bank.assume(0);
        engine.match();
    }

    void find_losses() noexcept {
        auto& [engine, pending, rehearsal, before, size] = windows_;
        for (int i = 0; i < pending.count(); ++i) {
            Window x{};
            if (pending[i].usable()) windows_.find_amplitude(pending[i], x);
        }
        first_.find(pending, engine.bank, rehearsal.leverage(engine.cycles()), suspects_, bins_,
                    engine.residuals.bins().oldest_connected() + before, end_ - engine.cycles() * bins_, engine.sized(),
                    kLimit);
    }

    /// Takes the misfires that the waiting firings show together out of the bins.
    void take_out_losses() noexcept {
        find_losses();
        for (int n = 0; n < first_.losses(); ++n) {
            const PendingFiring<Real>& entry = windows_.pending[first_.firing(n)];
            take_out_loss(windows_.engine.residuals, windows_.engine.bank, entry, entry.bin - windows_.before,
                          first_.lost(n));
        }
    }

    /// Tells how each place's firings scatter that lost nothing, by which those that burn are told from a dead cylinder's. How far a firing
    /// is off by measurement does not grow with its work: where that is little (fuel has just come back), its share of it says little. Where most
    /// firings of a place lost their work, or all did, those that seem not to have may be what is wrong.
    void tell_life() noexcept {
        std::array<WeightedScatter<Real>, kMaxCylinders> places{};
        std::array<int, kMaxCylinders> losing{};  // firings that lost their work, less those that did not
        for (int i = 0; i < windows_.pending.count(); ++i) {
            const PendingFiring<Real>& entry = windows_.pending[i];
            if (!windows_.is_whole(entry) || first_.is_open(entry.place)) continue;
            losing[static_cast<std::size_t>(entry.place)] += first_.has_lost(i) ? 1 : -1;
            if (first_.has_lost(i)) continue;
            places[static_cast<std::size_t>(entry.place)].add(first_.left(i), entry.expected * entry.expected);
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
            if (!windows_.is_whole(entry) || first_.has_lost(i) || first_.is_open(entry.place)) continue;
            windows_.fill(entry, x);
            for (float& value : x) value /= own;
            engine.covariance.learn(x, 1.0F);
        }
    }

    FiringWindows<Real>& windows_;
    int bins_;  // of a cycle
    int hold_;
    std::int64_t end_;
    FirstLosses<Real> first_{};
    typename CylinderLevels<Real>::Places suspects_{};
};

}  // namespace kurbel
