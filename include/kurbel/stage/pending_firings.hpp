// Firings that wait for the revolution after them, and the joint decision on who lost what.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/response_bank.hpp"

namespace kurbel {

/// One firing that waits. Amplitudes are shares of its expected work, measured from what the pattern holds for it.
template <class Real>
struct PendingFiring {
    std::int64_t bin = 0;
    int place = 0;
    std::int16_t length = 0;  ///< bins of its window that are there
    bool known = false;       ///< it had no fuel: that it lost its work need not be found
    Real amplitude = 0;
    Real expected = 1;
    Real gain = 0;  ///< best log-likelihood gain over all kinds of response

    [[nodiscard]] bool usable() const noexcept { return length > 0; }
};

/// Queue of firings in order of time, oldest first. Their responses overlap, so the one that explains most is taken out before
/// its neighbours are looked at; the oldest then has what is left.
template <class Real>
class PendingFirings {
  public:
    static constexpr int kCapacity = 3 * kFirstCycles / 4 * kMaxCylinders + 2;
    using Limits = std::array<Real, kMaxCylinders>;
    using Dead = std::array<bool, kMaxCylinders>;

    void clear() noexcept { count_ = head_ = 0; }
    [[nodiscard]] int count() const noexcept { return count_; }
    [[nodiscard]] bool full() const noexcept { return count_ == kCapacity; }

    [[nodiscard]] bool has_room_for(int more) const noexcept { return count_ + more <= kCapacity; }

    PendingFiring<Real>& append() noexcept {
        PendingFiring<Real>& entry = (*this)[count_++];
        entry = PendingFiring<Real>{};
        return entry;
    }
    void drop_oldest() noexcept {
        head_ = (head_ + 1) % kCapacity;
        --count_;
    }

    [[nodiscard]] PendingFiring<Real>& operator[](int i) noexcept { return queue_[at(i)]; }
    [[nodiscard]] const PendingFiring<Real>& operator[](int i) const noexcept { return queue_[at(i)]; }

    using Amplitudes = std::array<Real, kCapacity>;

    /// Amplitude of the oldest, after its stronger neighbours have been explained; theirs are written to `neighbours`, 0 where
    /// one needs no explanation. `limits`: share of lost work, by place, above which a firing counts as lost; `dead`: places whose
    /// loss the pattern holds.
    [[nodiscard]] Real oldest_amplitude(const ResponseBank& bank, const Limits& limits, const Dead& dead,
                                        Amplitudes& neighbours) const noexcept {
        // No more of them than there are firings: that is few of what there is room for.
        Amplitudes amplitude;
        std::array<bool, kCapacity> explained;
        amplitude[0] = Real(0);  // g++ 12 does not see that the oldest is always there
        for (int i = 0; i < count_; ++i) {
            const auto at = static_cast<std::size_t>(i);
            amplitude[at] = (*this)[i].amplitude;
            explained[at] = false;
            neighbours[at] = Real(0);
        }
        for (int i = 1; i < count_; ++i) {
            if (!(*this)[i].known) continue;
            const auto at = static_cast<std::size_t>(i);
            explained[at] = true;
            neighbours[at] = Real(1);
            take_out(bank, i, Real(1), amplitude);
        }
        for (int round = 0; round < count_; ++round) {
            const int strongest = strongest_above(bank, amplitude, explained, limits, dead);
            if (strongest <= 0) break;
            const auto at = static_cast<std::size_t>(strongest);
            explained[at] = true;
            neighbours[at] = amplitude[at];
            take_out(bank, strongest, amplitude[at], amplitude);
        }
        return amplitude[0];
    }

    /// Takes out of the window of the oldest what its neighbours added to it.
    template <class Values>
    void take_out_neighbours(const ResponseBank& bank, const Amplitudes& neighbours, Values& x) const noexcept {
        for (int i = 1; i < count_; ++i) {
            const Real size = neighbours[static_cast<std::size_t>(i)];
            const PendingFiring<Real>& entry = (*this)[i];
            const auto shift = static_cast<int>(entry.bin - (*this)[0].bin);
            if (size == Real(0) || shift >= bank.size()) continue;
            const auto amplitude = static_cast<float>(size * entry.expected / (*this)[0].expected);
            const auto& response = bank.response(entry.place);
            for (int j = shift; j < bank.size(); ++j)
                x[static_cast<std::size_t>(j)] -= amplitude * response[static_cast<std::size_t>(j - shift)];
        }
    }

    /// Takes out of the others what the oldest, of amplitude `size`, adds to theirs.
    void take_out_oldest(const ResponseBank& bank, Real size) noexcept {
        Amplitudes change{};
        take_out(bank, 0, size, change);
        for (int i = 1; i < count_; ++i) (*this)[i].amplitude += change[static_cast<std::size_t>(i)];
    }

    /// No other firing in the queue explains more than the oldest does.
    [[nodiscard]] bool oldest_leads() const noexcept {
        for (int i = 1; i < count_; ++i)
            if ((*this)[i].usable() && (*this)[i].gain > (*this)[0].gain) return false;
        return true;
    }

  private:
    /// Where firing `i` stands in the ring, for i below its capacity.
    [[nodiscard]] std::size_t at(int i) const noexcept {
        const int place = head_ + i;
        return static_cast<std::size_t>(place < kCapacity ? place : place - kCapacity);
    }

    /// The firing that explains most among those that are not as the pattern has them; -1 where all are.
    [[nodiscard]] int strongest_above(const ResponseBank& bank, const Amplitudes& amplitude,
                                      const std::array<bool, kCapacity>& explained, const Limits& limits,
                                      const Dead& dead) const noexcept {
        int best = -1;
        Real best_gain = 0;
        for (int i = 0; i < count_; ++i) {
            const PendingFiring<Real>& entry = (*this)[i];
            const auto place = static_cast<std::size_t>(entry.place);
            const Real size = amplitude[static_cast<std::size_t>(i)];
            const bool lost = size + (dead[place] ? Real(1) : Real(0)) > limits[place];
            if (!entry.usable() || explained[static_cast<std::size_t>(i)] || lost == dead[place]) continue;
            const Real gain = size * size * static_cast<Real>(bank.precision(entry.place));
            if (gain <= best_gain) continue;
            best_gain = gain;
            best = i;
        }
        return best;
    }

    /// Removes what firing `from` of amplitude `size` adds to the amplitudes of the others.
    void take_out(const ResponseBank& bank, int from, Real size, Amplitudes& amplitude) const noexcept {
        const PendingFiring<Real>& source = (*this)[from];
        for (int i = 0; i < count_; ++i) {
            const PendingFiring<Real>& entry = (*this)[i];
            const auto shift = static_cast<int>(source.bin - entry.bin);
            if (i == from || !entry.usable() || shift >= bank.size() || shift <= -bank.length()) continue;
            amplitude[static_cast<std::size_t>(i)] -= size * source.expected / entry.expected *
                                                      static_cast<Real>(bank.leak(entry.place, source.place, shift));
        }
    }

    int count_ = 0;
    int head_ = 0;
    std::array<PendingFiring<Real>, kCapacity> queue_{};
};

}  // namespace kurbel
