// Which firings are gone through several times: to learn the engine, and then to be judged.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>

#include "kurbel/stage/pending_firings.hpp"

namespace kurbel {

/// The firings of the first cycles wait until the engine is known. Then rehearsals go through them, each with what the one before
/// has taught, until one finds the same misfires again; after that they are judged like all others. Keeps what each rehearsal
/// took out of the pattern.
template <class Real>
class Rehearsal {
  public:
    void reset() noexcept { *this = {}; }
    /// Bins of the first and the last firing that waited.
    void begin(std::int64_t first, std::int64_t last) noexcept {
        reset();
        first_ = first;
        last_ = last;
        runs_ = first <= last;
    }

    /// Ends one. Another follows where what was found has changed, and there is hope that it settles.
    void end() noexcept {
        ++passes_;
        runs_ = changed_ && passes_ < kMostPasses;
        changed_ = false;
    }

    /// What was taken for lost of the firing at `bin`, 0 for nothing.
    void note(std::int64_t bin, Real amplitude) noexcept {
        const int n = number(bin);
        if (n < count_) {
            changed_ = changed_ || (amplitude == Real(0)) != (taken_[static_cast<std::size_t>(n)].amplitude == Real(0));
            taken_[static_cast<std::size_t>(n)].amplitude = amplitude;
        } else if (amplitude != Real(0) && count_ < kCapacity) {
            changed_ = true;
            taken_[static_cast<std::size_t>(count_++)] = {bin, amplitude};
        }
    }
    [[nodiscard]] Real taken(std::int64_t bin) const noexcept {
        const int n = number(bin);
        return n < count_ ? taken_[static_cast<std::size_t>(n)].amplitude : Real(0);
    }

    /// Share of each cycle in a pattern that was learned from `cycles`. With fewer than two nothing tells a misfire from a habit.
    [[nodiscard]] static Real leverage(int cycles) noexcept { return Real(1) / Real(std::max(cycles, 2)); }

    /// A firing that the pattern was learned from pulls it towards itself by its leverage (Belsley, Kuh and Welsch, Regression
    /// Diagnostics, 1980, ch. 2), but for what a rehearsal has taken out of it: the amplitude that it has against the others alone.
    [[nodiscard]] Real without_itself(std::int64_t bin, Real amplitude, int cycles) const noexcept {
        if (!holds(bin)) return amplitude;
        const Real own = leverage(cycles);
        return (amplitude - own * taken(bin)) / (Real(1) - own);
    }

    [[nodiscard]] bool runs() const noexcept { return runs_; }
    [[nodiscard]] int passes() const noexcept { return passes_; }
    [[nodiscard]] std::int64_t first() const noexcept { return first_; }
    /// The firing at `bin` is among them.
    [[nodiscard]] bool holds(std::int64_t bin) const noexcept { return bin >= first_ && bin <= last_; }
    /// It has been rehearsed, and comes for the last time.
    [[nodiscard]] bool over_for(std::int64_t bin) const noexcept { return !runs_ && holds(bin); }

  private:
    static constexpr int kMostPasses = 3;
    static constexpr int kCapacity = PendingFirings<Real>::kCapacity;
    struct Taken {
        std::int64_t bin = 0;
        Real amplitude = 0;
    };

    /// Place of the firing in the list; count_ where it is not there.
    [[nodiscard]] int number(std::int64_t bin) const noexcept {
        int n = 0;
        while (n < count_ && taken_[static_cast<std::size_t>(n)].bin != bin) ++n;
        return n;
    }

    std::int64_t first_ = 0;
    std::int64_t last_ = -1;
    bool runs_ = false;
    bool changed_ = false;
    int passes_ = 0;
    int count_ = 0;
    std::array<Taken, static_cast<std::size_t>(kCapacity)> taken_{};
};

}  // namespace kurbel
