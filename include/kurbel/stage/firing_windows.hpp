// The windows of the firings that wait: opened, measured for the first time, and measured anew.
#pragma once

#include <algorithm>
#include <cstdint>

#include "kurbel/stage/learned_engine.hpp"
#include "kurbel/stage/pending_firings.hpp"
#include "kurbel/stage/rehearsal.hpp"
#include "kurbel/stage/response_bank.hpp"
#include "kurbel/stage/window.hpp"

namespace kurbel {

/// The engine as it is known, the firings that wait, which of them are rehearsed, and how each is first measured: as if it were alone.
/// The parts are open; the WorkEstimator decides what is made of them.
template <class Real>
struct FiringWindows {
    LearnedEngine<Real> engine{};
    PendingFirings<Real> pending{};
    Rehearsal<Real> rehearsal{};
    int before = 0;  ///< bins of a window before TDC
    int size = 0;    ///< bins of a window

    void reset() noexcept {
        engine.reset();
        pending.clear();
        rehearsal.reset();
    }

    /// TDC bin of the newest window that is whole.
    [[nodiscard]] std::int64_t newest() const noexcept { return engine.residuals.bins().newest() - size + before; }

    /// Bins that a firing waits for its neighbours: as far as what it did reaches beyond its window.
    [[nodiscard]] int hold() const noexcept { return engine.bank.length() - size; }

    /// Bin at which the window of the oldest firing begins.
    [[nodiscard]] std::int64_t first_waiting() const noexcept { return pending[0].bin - before; }

    /// A firing whose TDC bin is `bin` is looked at for the first time, if one is there. `length`: bins of its window.
    void open(std::int64_t bin, int length) noexcept {
        if (!engine.residuals.bins().holds(bin) || pending.full()) return;
        const int place = engine.residuals.firing_at(bin);
        if (place < 0) return;
        PendingFiring<Real>& entry = pending.append();
        entry.bin = bin;
        entry.place = static_cast<std::int8_t>(place);
        entry.expected = engine.expected_work(bin);
        const std::int64_t first = bin - before;
        const std::int64_t there = std::max(first, engine.residuals.bins().oldest_connected());
        if (length == 0 || !engine.residuals.bins().connected(there, first + length)) return;
        entry.length = static_cast<std::int8_t>(length);
        entry.absent = static_cast<std::int8_t>(there - first);
        entry.known = engine.lost_for_certain(bin, place);
        if (!engine.covariance.begun()) engine.begin_covariance(bin);
        look_at(entry);
    }

    /// Looks for the firings from bin `from` on once more: the frame turned by half a cycle, or a rehearsal has ended.
    void reopen(std::int64_t from) noexcept {
        pending.clear();
        for (std::int64_t bin = from; bin <= newest(); ++bin) open(bin, size);
    }

    /// After pattern or responses changed at once.
    void look_again() noexcept {
        for (int i = 0; i < pending.count(); ++i)
            if (pending[i].usable()) look_at(pending[i]);
    }

    /// Writes what is there of the firing's window to `x`, which holds zeros.
    void fill(const PendingFiring<Real>& entry, Window& x) const noexcept {
        engine.residuals.fill(entry.bin - before + entry.absent, entry.length - entry.absent, entry.expected, x,
                              entry.absent);
    }

    [[nodiscard]] bool is_whole(const PendingFiring<Real>& entry) const noexcept {
        return entry.length == size && entry.absent == 0;
    }

    /// Writes the firing's window to `x`, which holds zeros, and its amplitude, as if it were alone, to the entry.
    void find_amplitude(PendingFiring<Real>& entry, Window& x) const noexcept {
        fill(entry, x);
        entry.amplitude = alone(entry, static_cast<Real>(match(entry, x).amplitude));
    }

    [[nodiscard]] ResponseBank::Match match(const PendingFiring<Real>& entry, const Window& x) const noexcept {
        return is_whole(entry) ? engine.bank.match_whole(entry.place, x)
                               : engine.bank.match_part(entry.place, x, entry.absent, entry.length, engine.covariance);
    }

    /// An amplitude that was measured, against the other firings alone.
    [[nodiscard]] Real alone(const PendingFiring<Real>& entry, Real amplitude) const noexcept {
        return rehearsal.without_itself(entry.bin, amplitude, engine.cycles());
    }

    /// Learns the last cycles before bin `end` once more, all that were learned, from what is left of them without misfires.
    void learn_again(std::int64_t end, int bins, bool examine) noexcept {
        const int cycles = engine.cycles();
        const std::int64_t first = end - cycles * bins;
        if (engine.residuals.bins().connected(first - 1, end + 1)) engine.learn_again(first, cycles, examine);
    }

  private:
    /// First estimate of a firing's amplitude.
    void look_at(PendingFiring<Real>& entry) noexcept {
        Window x{};
        find_amplitude(entry, x);
        if (worth_a_look(entry)) entry.gain = engine.bank.best_gain(entry.place, x);
    }

    /// Whether all kinds of response are worth trying: only where the one in use, or the size of the window, says that something
    /// may have happened. Saves two thirds of the work on healthy engines.
    [[nodiscard]] bool worth_a_look(const PendingFiring<Real>& entry) const noexcept {
        return is_whole(entry) && (entry.amplitude > Real(0.25) || !engine.bank.experienced());
    }
};

}  // namespace kurbel
