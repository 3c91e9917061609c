// Firings that wait for the revolution after them, and the joint decision on who lost what.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/joint_losses.hpp"
#include "kurbel/stage/response_bank.hpp"

namespace kurbel {

/// One firing that waits. Amplitudes are shares of its expected work, measured from what the pattern holds for it.
template <class Real>
struct PendingFiring {
    std::int64_t bin = 0;
    Real amplitude = 0;
    Real expected = 1;
    float gain = 0;  ///< best log-likelihood gain over all kinds of response
    std::int8_t place = 0;
    std::int8_t length = 0;  ///< its window is there up to so many bins
    std::int8_t absent = 0;  ///< and begins only after so many: the stream began within it
    bool known = false;      ///< it had no fuel: that it lost its work need not be found

    [[nodiscard]] bool usable() const noexcept { return length > 0; }
    /// Its window is there from its first bin on.
    [[nodiscard]] bool begins() const noexcept { return usable() && absent == 0; }
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

    /// What firings around the oldest are expected to read.
    struct Expectation {
        Real whole = 1;    ///< of a lost work
        Real noise = 1;    ///< variance of healthy ones over what the precision of their responses says
        bool calm = true;  ///< and that nothing else does
        Dead failing{};    ///< places that are expected to lose their work
    };

    /// Amplitude of the oldest beside what the firings in reach of its window have lost, which is found together with its own; that is written
    /// to `neighbours`, 0 where one needs no explanation. `limits`: share of lost work, by place, above which a firing counts as lost; `dead`:
    /// places whose loss the pattern holds.
    [[nodiscard]] Real oldest_amplitude(const ResponseBank& bank, const Limits& limits, const Dead& dead,
                                        const Expectation& expected, Amplitudes& neighbours) const noexcept {
        for (int i = 0; i < count_; ++i) neighbours[static_cast<std::size_t>(i)] = Real(0);
        const Real told = Real(1) / expected.noise;
        JointLosses<Real> joint;
        std::array<int, static_cast<std::size_t>(JointLosses<Real>::kMost)> number;
        for (int i = 0; i < count_ && !joint.full(); ++i) {
            const PendingFiring<Real>& entry = (*this)[i];
            if (i > 0 && entry.bin - (*this)[0].bin >= bank.size()) break;
            if (i > 0 && entry.known) neighbours[static_cast<std::size_t>(i)] = Real(1);
            if (!entry.usable() || (i > 0 && entry.known)) continue;
            const auto place = static_cast<std::size_t>(entry.place);
            number[static_cast<std::size_t>(joint.count())] = i;
            joint.add(without_known(bank, i), static_cast<Real>(bank.precision(entry.place)) * told, limits[place],
                      dead[place], expected.failing[place]);
        }
        if (!(*this)[0].usable() || !joint.any()) return without_known(bank, 0);
        joint.find(expected.whole, expected.calm, [&](int i, int from) {
            return share_of(bank, number[static_cast<std::size_t>(from)], number[static_cast<std::size_t>(i)]);
        });
        for (int a = 1; a < joint.count(); ++a)
            neighbours[static_cast<std::size_t>(number[static_cast<std::size_t>(a)])] = joint.lost(a);
        return joint.alone(0);
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

    /// What firing `i` reads where firing `from` loses all of its work.
    [[nodiscard]] Real share_of(const ResponseBank& bank, int from, int i) const noexcept {
        if (i == from) return Real(1);
        const PendingFiring<Real>& source = (*this)[from];
        const PendingFiring<Real>& entry = (*this)[i];
        const auto shift = static_cast<int>(source.bin - entry.bin);
        if (!entry.usable() || shift >= bank.size() || shift <= -bank.length()) return Real(0);
        return source.expected / entry.expected * static_cast<Real>(bank.leak(entry.place, source.place, shift));
    }

    /// What firing `i` reads beside those that are known to have lost their work.
    [[nodiscard]] Real without_known(const ResponseBank& bank, int i) const noexcept {
        Real reading = (*this)[i].amplitude;
        for (int other = 1; other < count_; ++other)
            if (other != i && (*this)[other].known) reading -= share_of(bank, other, i);
        return reading;
    }

    /// Removes what firing `from` of amplitude `size` adds to the amplitudes of the others.
    void take_out(const ResponseBank& bank, int from, Real size, Amplitudes& amplitude) const noexcept {
        for (int i = 0; i < count_; ++i)
            if (i != from) amplitude[static_cast<std::size_t>(i)] -= size * share_of(bank, from, i);
    }

    int count_ = 0;
    int head_ = 0;
    std::array<PendingFiring<Real>, kCapacity> queue_{};
};

}  // namespace kurbel
