// The last few engine cycles of energy bins, as the estimator looks back at them.
#pragma once

#include <algorithm>
#include <array>
#include <bit>
#include <cstdint>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/segmenter.hpp"
#include "kurbel/stage/usual_engine.hpp"

namespace kurbel {

/// Ring of bins. Differences of energy are stored with the earlier bin: raw(n) = energy(n + 1) - energy(n).
template <class Real>
class BinHistory {
  public:
    /// The cycles that wait at the start, and one more.
    static constexpr int kRing = static_cast<int>(std::bit_ceil(static_cast<unsigned>((kFirstCycles + 1) * kMaxBins)));

    /// Energy is corrected for the inertia of pistons and rods where geometry and masses are given:
    /// J(angle) = J_rot + sum m r^2 lever^2 (Kiencke and Nielsen, Automotive Control Systems; from memory).
    void set_inertia(const EngineConfig& engine, const CycleGrid& grid) noexcept {
        inertia_.fill(1.0F);
        const SliderCrank crank = SliderCrank::of(engine);
        const double share = mass_share(engine);
        for (int b = 0; b < grid.bins; ++b) {
            double sum = 0.0;
            constexpr int kParts = 8;
            for (int part = 0; part < kParts; ++part)
                for (int i = 0; i < engine.cylinders; ++i) {
                    const double lever = crank.lever(to_rad((b + (part + 0.5) / kParts) * grid.bin_deg -
                                                            engine.firing_tdc_deg[static_cast<std::size_t>(i)]));
                    sum += lever * lever / kParts;
                }
            inertia_[static_cast<std::size_t>(b)] = static_cast<float>(1.0 + share * sum);
        }
    }

    void clear() noexcept {
        count_ = 0;
        run_ = 0;
        newest_ = -1;
    }

    /// `place`: where in the cycle this bin lies (for the inertia of pistons and rods).
    void push(const Bin<Real>& bin, Real load, std::uint32_t cut, std::int64_t place) noexcept {
        const Real energy = bin.energy * static_cast<Real>(inertia_[static_cast<std::size_t>(place)]);
        const bool connected = !bin.restart && count_ > 0 && bin.index == newest_ + 1;
        if (connected) {
            raw_[at(newest_)] = clean_[at(newest_)] = static_cast<float>(energy - energy_);
            mean_ += (energy - mean_) * mean_share_;
            ++run_;
        } else {
            mean_ = energy;
            run_ = 1;
        }
        newest_ = bin.index;
        energy_ = energy;
        ++count_;
        const std::size_t here = at(newest_);
        raw_[here] = clean_[here] = 0;
        mean_energy_[here] = static_cast<float>(mean_);
        load_[here] = static_cast<float>(load);
        // Counted before the new mask is written: of the bin before.
        const bool same = connected && cut_[at(newest_ - 1)] == cut;
        cut_run_[here] = static_cast<std::uint16_t>(same ? std::min(cut_run_[at(newest_ - 1)] + 1, kRing) : 1);
        cut_[here] = static_cast<std::uint16_t>(cut);
        begin_tick_[here] = bin.begin_tick;
        ticks_[here] = static_cast<float>(bin.ticks);
    }

    void set_cycle(int bins) noexcept { mean_share_ = Real(1) / static_cast<Real>(bins); }

    [[nodiscard]] bool any() const noexcept { return count_ > 0; }
    [[nodiscard]] std::int64_t newest() const noexcept { return newest_; }
    /// Bin is there and connected to the newest.
    [[nodiscard]] bool holds(std::int64_t bin) const noexcept { return bin <= newest_ && bin > newest_ - span(); }
    /// All of [from, to) are there, connected, and have a difference to the next one.
    [[nodiscard]] bool connected(std::int64_t from, std::int64_t to) const noexcept {
        return holds(from) && to <= newest_;
    }
    /// Oldest bin connected to the newest, less than the ring back; -1 where there is none.
    [[nodiscard]] std::int64_t oldest_connected() const noexcept { return count_ > 0 ? newest_ - span() + 1 : -1; }

    [[nodiscard]] Real raw(std::int64_t bin) const noexcept { return static_cast<Real>(raw_[at(bin)]); }
    [[nodiscard]] Real clean(std::int64_t bin) const noexcept { return static_cast<Real>(clean_[at(bin)]); }
    [[nodiscard]] Real load(std::int64_t bin) const noexcept {
        return static_cast<Real>(load_[at(holds(bin) ? bin : newest_)]);
    }
    [[nodiscard]] std::uint32_t cut(std::int64_t bin) const noexcept { return cut_[at(holds(bin) ? bin : newest_)]; }
    /// The same cylinders were cut in all bins from `from` to `to`, both included, and the bins are connected.
    [[nodiscard]] bool same_cut(std::int64_t from, std::int64_t to) const noexcept {
        return holds(from) && holds(to) && cut_run_[at(to)] > to - from;
    }
    /// How many bins up to and with this one have had the same cylinders cut.
    [[nodiscard]] int same_cut_for(std::int64_t bin) const noexcept { return cut_run_[at(holds(bin) ? bin : newest_)]; }
    /// Which cylinders were cut at some time from bin `from` to bin `to`, both included, and which all the while; bins that are not there
    /// any more count as the oldest.
    struct CutWithin {
        std::uint32_t any = 0;
        std::uint32_t all = ~0U;
    };
    [[nodiscard]] CutWithin cut_within(std::int64_t from, std::int64_t to) const noexcept {
        if (same_cut(from, to)) return {cut_[at(to)], cut_[at(to)]};
        CutWithin within;
        for (from = std::max(from, oldest_connected()); to >= from; to -= same_cut_for(to)) {
            within.any |= cut(to);
            within.all &= cut(to);
        }
        return within;
    }
    [[nodiscard]] Real mean_energy(std::int64_t bin) const noexcept { return static_cast<Real>(mean_energy_[at(bin)]); }
    [[nodiscard]] Real ticks_between(std::int64_t from, std::int64_t to) const noexcept {
        return static_cast<Real>(begin_tick_[at(to - 1)] - begin_tick_[at(from)]) +
               static_cast<Real>(ticks_[at(to - 1)]);
    }
    /// Tick at `share` of the bin's length after its beginning (negative: before).
    [[nodiscard]] std::int64_t tick_within(std::int64_t bin, Real share) const noexcept {
        const Real after = share * static_cast<Real>(ticks_[at(bin)]);
        return begin_tick_[at(bin)] + static_cast<std::int64_t>(after + (after < Real(0) ? Real(-0.5) : Real(0.5)));
    }
    [[nodiscard]] Real clean_sum(std::int64_t from, std::int64_t to) const noexcept {
        // The ring is passed in at most two runs, each of them contiguous.
        const std::size_t first = at(from);
        const auto count = static_cast<std::size_t>(to - from);
        const std::size_t straight = std::min(count, kRing - first);
        return sum_of(first, straight) + sum_of(0, count - straight);
    }

    /// Ring positions from `bin` on that lie side by side, at most `count`.
    [[nodiscard]] int straight(std::int64_t bin, int count) const noexcept {
        return std::min(count, static_cast<int>(kRing - at(bin)));
    }
    /// What happened from `bin` on, side by side: differences without misfires, load, and mean energy.
    [[nodiscard]] const float* clean_from(std::int64_t bin) const noexcept { return clean_.data() + at(bin); }
    [[nodiscard]] const float* raw_from(std::int64_t bin) const noexcept { return raw_.data() + at(bin); }
    [[nodiscard]] const float* load_from(std::int64_t bin) const noexcept { return load_.data() + at(bin); }
    [[nodiscard]] const float* energy_from(std::int64_t bin) const noexcept { return mean_energy_.data() + at(bin); }

    /// Puts back what was taken out, from `bin` on.
    void put_back(std::int64_t bin) noexcept {
        for (; bin <= newest_; ++bin) clean_[at(bin)] = raw_[at(bin)];
    }

    /// Gives all bins the same load, or one of them.
    void set_load(Real load) noexcept { load_.fill(static_cast<float>(load)); }
    void set_load_of(std::int64_t bin, Real load) noexcept { load_[at(bin)] = static_cast<float>(load); }

    void take_out(std::int64_t bin, Real amount) noexcept { clean_[at(bin)] -= static_cast<float>(amount); }

  private:
    /// Four sums side by side, so that additions need not wait for each other.
    [[nodiscard]] Real sum_of(std::size_t first, std::size_t count) const noexcept {
        std::array<float, 4> sum{};
        std::size_t i = 0;
        for (; i + 4 <= count; i += 4)
            for (std::size_t lane = 0; lane < 4; ++lane) sum[lane] += clean_[first + i + lane];
        for (; i < count; ++i) sum[0] += clean_[first + i];
        return static_cast<Real>((sum[0] + sum[1]) + (sum[2] + sum[3]));
    }

    [[nodiscard]] std::int64_t span() const noexcept { return run_ < kRing - 1 ? run_ : kRing - 1; }
    [[nodiscard]] static std::size_t at(std::int64_t bin) noexcept {
        return static_cast<std::size_t>(bin) & (kRing - 1);
    }

    // One array a quantity: windows read long runs of one of them. Differences, and lengths of one bin, have digits to spare.
    std::array<float, kRing> raw_{};
    std::array<float, kRing> clean_{};
    std::array<float, kRing> mean_energy_{};
    std::array<float, kRing> ticks_{};
    std::array<float, kRing> load_{};
    std::array<std::int64_t, kRing> begin_tick_{};
    static_assert(kMaxCylinders <= 16);
    std::array<std::uint16_t, kRing> cut_{};      // bit n: place n of the firing order
    std::array<std::uint16_t, kRing> cut_run_{};  // bins with the same mask, up to and with this one
    std::array<float, kMaxBins> inertia_{};
    std::int64_t newest_ = -1;
    std::int64_t count_ = 0;
    std::int64_t run_ = 0;  // bins connected up to the newest
    Real mean_ = 0;
    Real energy_ = 0;  // of the newest bin
    Real mean_share_ = Real(0.03);
};

}  // namespace kurbel
