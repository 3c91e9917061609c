// What the crank did beyond its healthy pattern, over the last few cycles.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <limits>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/bin_history.hpp"
#include "kurbel/stage/charge_level.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/cycle_pattern.hpp"
#include "kurbel/stage/segmenter.hpp"

namespace kurbel {

/// Bins of the last cycles, the pattern of the healthy cycle, and the residual between the two. Knows which half of the cycle
/// the frame has at its beginning.
template <class Real>
class ResidualHistory {
  public:
    void configure(const Config& config, const CycleGrid& grid) noexcept {
        grid_ = grid;
        bin_rad_ = static_cast<Real>(to_rad(grid.bin_deg));
        intake_back_ = static_cast<int>(std::lround(150.0 / grid.bin_deg));
        // Fuel is metered before the cylinder is closed, not long after the bottom of the intake stroke. A bin has what is in force when it is
        // told: at its end, or, where the wheel has its gap, a bin later.
        intake_ends_back_ = static_cast<int>(std::ceil(180.0 / grid.bin_deg)) + 2;
        intake_begins_back_ = static_cast<int>(std::ceil(360.0 / grid.bin_deg));
        rpm_ticks_ = static_cast<Real>(config.timer.hz * 60.0 * config.engine.cycle_deg() / 360.0);
        turns_ = config.engine.strokes == 2 ? 1 : 2;
        bins_.set_inertia(config.engine, grid);
        bins_.set_cycle(grid.bins);
        reset();
    }

    void reset() noexcept {
        bins_.clear();
        turn_ = 0;
        load_told_ = false;
        charge_.begin();
        set_ringing(Real(0), Real(0));
        ring_ = {};
    }

    /// `healthy`: what the engine should do, as far as that is known.
    void begin_pattern(Real typical_work, const HealthyCycle& healthy = {}) noexcept {
        pattern_.begin(grid_.bins, load_known(), typical_work, healthy, load_told_ && healthy.diesel, turns_);
    }

    /// `load` NaN where unknown.
    void push(const Bin<Real>& bin, Real load, std::uint32_t cut) noexcept {
        const Real instead = load_told_ ? Real(0) : charge_.level();
        bins_.push(bin, load == load ? load : instead, cut, place_of(bin.index + bin.turn, grid_.bins));
        if (bins_.connected(bins_.newest() - 1, bins_.newest()))
            ring_on(bins_.newest() - 1, ring_);
        else
            ring_ = {};
    }

    /// How the crank rings on after misfires: r(n+1) = a r(n) - b r(n-1).
    void set_ringing(Real a, Real b) noexcept {
        ring_a_ = a;
        ring_b_ = b;
    }

    /// From bin `bin` on a misfire rings on freely: there it has left `last`, in the bin before `before`.
    void add_ringing(std::int64_t bin, Real last, Real before) noexcept {
        Oscillation more{last, before};
        while (++bin < bins_.newest()) ring_on(bin, more);
        ring_.last += more.last;
        ring_.before += more.before;
    }

    /// From now on the load is told; before, it was what it is now.
    void expect_load(Real load) noexcept {
        load_told_ = true;
        bins_.set_load(load);
    }
    /// Nobody tells the load, and the crank shows this charge over the last cycle: it was that in the middle of it, and since, as far as is
    /// known. True where it is the first.
    bool take_charge(Real charge) noexcept {
        const bool first = !charge_.any();
        charge_.take(charge, grid_.firings);
        if (first) bins_.set_load(charge_.level());
        const std::int64_t back = grid_.bins / 2 + grid_.bins / (2 * grid_.firings);
        for (std::int64_t bin = std::max(bins_.newest() - back, bins_.oldest_connected()); bin <= bins_.newest(); ++bin)
            bins_.set_load_of(bin, charge_.level());
        return first;
    }
    void set_turn(int turn) noexcept { turn_ = turn; }
    /// Moves the pattern by `share` of the work of a firing, over inertia at full charge; `rest` is left of that where the load is 0.
    void shift_pattern(const std::array<Real, kMaxBins>& share, Real rest) noexcept {
        pattern_.shift(share, work_line(rest));
    }
    /// See CyclePattern::give_to_work().
    void give_pattern_to_work(const std::array<Real, kMaxBins>& share, Real rest) noexcept {
        pattern_.give_to_work(share, work_line(rest));
    }
    /// Moves the pattern as it is at one operating point by `difference`.
    void correct_pattern(const std::array<Real, kMaxBins>& difference, const PatternPoint<Real>& at) noexcept {
        pattern_.correct(difference, at);
    }
    void turn_pattern() noexcept { pattern_.turn(); }
    /// After a trial: as it was before.
    void restore_pattern(const CyclePattern<Real>& pattern) noexcept { pattern_ = pattern; }

    [[nodiscard]] const BinHistory<Real>& bins() const noexcept { return bins_; }
    [[nodiscard]] const CycleGrid& grid() const noexcept { return grid_; }
    [[nodiscard]] const CyclePattern<Real>& pattern() const noexcept { return pattern_; }
    /// By a channel, or by the crank's own motion.
    [[nodiscard]] bool load_known() const noexcept { return load_told_ || charge_.any(); }
    /// By a channel.
    [[nodiscard]] bool load_told() const noexcept { return load_told_; }
    [[nodiscard]] int turn() const noexcept { return turn_; }

    /// Place in the cycle of a bin.
    [[nodiscard]] int place_in_cycle(std::int64_t bin) const noexcept { return place_of(bin + turn_, grid_.bins); }
    /// Place in the firing order whose TDC begins a bin; -1 where none does.
    [[nodiscard]] int firing_at(std::int64_t bin) const noexcept {
        return grid_.firing_at[static_cast<std::size_t>(place_in_cycle(bin))];
    }

    [[nodiscard]] PatternPoint<Real> point(std::int64_t bin) const noexcept {
        return {bins_.load(bin), bins_.mean_energy(bin)};
    }

    /// The load by which work is to be expected where the pattern has none: it is a line over what the pattern takes for load.
    [[nodiscard]] Real load_at_rest() const noexcept {
        if (load_told_) return Real(0);
        return charge_.any() ? charge_.at_rest() : ExpectedWork<Real>::kUnknownLoad;
    }
    /// Load that was told when the intake of the firing at `bin` closed; NaN where nobody told it.
    [[nodiscard]] Real told_load(std::int64_t bin) const noexcept {
        return load_told_ ? bins_.load(bin - intake_back_) : std::numeric_limits<Real>::quiet_NaN();
    }
    /// Load by which the firing at `bin` is to be expected to work: the same, or what the crank shows of it; NaN where unknown.
    [[nodiscard]] Real charge_load(std::int64_t bin) const noexcept {
        return load_told_ || !charge_.any() ? told_load(bin) : charge_.as_load(bins_.load(bin));
    }

    /// Whether the firing at `bin` may have had no fuel: it was cut at some time since the intake ended.
    [[nodiscard]] bool was_cut(std::int64_t bin, int place) const noexcept {
        return ((bins_.cut_within(bin - intake_ends_back_, bin).any >> place) & 1U) != 0;
    }

    /// Whether it certainly had none: it was cut from before the intake began, whenever fuel comes in, to now, should the cut be told late.
    [[nodiscard]] bool was_cut_throughout(std::int64_t bin, int place) const noexcept {
        return ((bins_.cut(bin) >> place) & 1U) != 0 &&  // seldom, and soon told
               ((bins_.cut_within(bin - intake_begins_back_, bin).all >> place) & 1U) != 0;
    }

    /// The same cylinders had their fuel cut from the cycle before `first` to `last`, as far back as is known.
    [[nodiscard]] bool same_fuel(std::int64_t first, std::int64_t last) const noexcept {
        return bins_.same_cut(std::max(first - grid_.bins, bins_.oldest_connected()), last);
    }

    /// Residuals of `count` bins from `first` on over `work`, slow trend removed, to x from its place `at` on; x holds zeros before.
    template <class Values>
    void fill(std::int64_t first, int count, Real work, Values& x, int at = 0) const noexcept {
        const auto trend = static_cast<float>(trend_before(first));
        const auto scale = static_cast<float>(Real(1) / work);
        fill_from(first, count, trend, x.data() + at, [this](std::int64_t bin) { return bins_.clean_from(bin); });
        for (float& value : x) value *= scale;
    }

    /// Takes what a misfire did out of a bin, so that neither its neighbours nor the pattern see it.
    void take_out(std::int64_t bin, Real amount) noexcept { bins_.take_out(bin, amount); }

    /// As if no misfire had been taken out from `bin` on.
    void put_back(std::int64_t bin) noexcept {
        bins_.put_back(bin);
        ring_ = {};
    }

    /// Residuals of the whole cycle from `first` on by place in the cycle, slow trend removed; and the cycle's operating point.
    /// `until`: bin behind the last one without misfires in it, at least the end of the cycle.
    void cycle(std::int64_t first, std::int64_t until, std::array<Real, kMaxBins>& residual,
               PatternPoint<Real>& mean) const noexcept {
        mean = PatternPoint<Real>{};
        for (std::int64_t bin = first; bin < first + grid_.bins; ++bin) {
            const PatternPoint<Real> here = point(bin);
            mean.load += here.load;
            mean.energy += here.energy;
        }
        mean.load /= Real(grid_.bins);
        mean.energy /= Real(grid_.bins);
        // All bins at the one point that they are learned at: where load and speed swing within the cycle, taking each bin at its
        // own would turn the swing into pattern, most of all at the ends of the cycle.
        pattern_.whole(mean, residual);
        auto place = static_cast<std::size_t>(place_in_cycle(first));
        const SlowTrend trend(*this, first, until);
        Real sum = 0;
        for (std::int64_t bin = first; bin < first + grid_.bins; ++bin) {
            residual[place] = bins_.clean(bin) - residual[place] - trend.at(bin);
            sum += residual[place];
            if (++place == static_cast<std::size_t>(grid_.bins)) place = 0;
        }
        // Of a trend that bends a little is left, and a pattern has no mean.
        for (std::size_t b = 0; b < static_cast<std::size_t>(grid_.bins); ++b)
            residual[b] -= sum / static_cast<Real>(grid_.bins);
    }
    void learn_pattern(const std::array<Real, kMaxBins>& residual, const PatternPoint<Real>& mean, Real rest) noexcept {
        pattern_.learn(residual, mean, work_line(rest));
    }

    /// Mean over the engine cycle around a bin, as far as bins are there.
    [[nodiscard]] Real speed_around(std::int64_t bin) const noexcept {
        std::int64_t from = bin - grid_.bins / 2;
        std::int64_t to = from + grid_.bins;
        while (from < bin && !bins_.connected(from, bin)) ++from;
        while (to > bin + 1 && !bins_.connected(bin, to)) --to;
        const Real share = static_cast<Real>(to - from) / static_cast<Real>(grid_.bins);
        return rpm_ticks_ * share / bins_.ticks_between(from, to);
    }

    /// Speed gained over the firing interval by its length in time, pattern removed; NaN where bins are missing.
    [[nodiscard]] Real acceleration(std::int64_t bin, int place) const noexcept {
        const int next = (place + 1) % grid_.firings;
        int count = grid_.tdc_bin[static_cast<std::size_t>(next)] - grid_.tdc_bin[static_cast<std::size_t>(place)];
        if (count <= 0) count += grid_.bins;
        if (!bins_.connected(bin - 1, bin + count)) return std::numeric_limits<Real>::quiet_NaN();
        std::array<float, kMaxBins + 1> gained{};
        fill_from(bin - 1, count + 1, 0.0F, gained.data(), [this](std::int64_t at) { return bins_.raw_from(at); });
        // A difference reaches from the middle of one bin to the middle of the next: half of each end counts.
        Real sum = Real(-0.5) * static_cast<Real>(gained[0] + gained[static_cast<std::size_t>(count)]);
        for (int j = 0; j <= count; ++j) sum += static_cast<Real>(gained[static_cast<std::size_t>(j)]);
        return sum / (static_cast<Real>(count) * bin_rad_);
    }

  private:
    [[nodiscard]] WorkLine<Real> work_line(Real rest) const noexcept {
        return {rest, load_told_ ? Real(1) : (charge_.any() ? charge_.by_level() : Real(0))};
    }

    /// What is left of `count` bins from `first` on without trend and pattern, in runs that pass neither the end of the ring nor the end
    /// of the cycle; `measured`: where a bin's own difference stands, and those after it.
    template <class Measured>
    void fill_from(std::int64_t first, int count, float trend, float* x, const Measured& measured) const noexcept {
        int place = place_in_cycle(first);
        for (int j = 0; j < count;) {
            const std::int64_t bin = first + j;
            const int run = bins_.straight(bin, std::min(count - j, grid_.bins - place));
            pattern_.take_out(place, run, bins_.load_from(bin), bins_.energy_from(bin), measured(bin), trend, x + j);
            j += run;
            place = place + run == grid_.bins ? 0 : place + run;
        }
    }

    /// What the whole vehicle and its driveline do around each bin of the cycle from `first` on: the mean over the engine cycle around it, or
    /// over the nearest one that is there. All orders of the engine have no mean over a cycle, so that nothing of the pattern is in it.
    class SlowTrend {
      public:
        SlowTrend(const ResidualHistory& history, std::int64_t first, std::int64_t until) noexcept
            : bins_(history.grid_.bins) {
            const BinHistory<Real>& bins = history.bins_;
            from_ = std::max(first - bins_ / 2, bins.oldest_connected());
            count_ = static_cast<int>(std::min(first + bins_ + (bins_ + 1) / 2, until) - bins_ - from_) + 1;
            Real sum = bins.clean_sum(from_, from_ + bins_);
            for (int i = 0; i < count_; ++i) {
                sum_[static_cast<std::size_t>(i)] = sum;
                if (i + 1 < count_) sum += bins.clean(from_ + i + bins_) - bins.clean(from_ + i);
            }
        }

        [[nodiscard]] Real at(std::int64_t bin) const noexcept {
            // Of an even number of bins half lies before the middle of this one, half behind it, by turns.
            return (beginning(bin - bins_ / 2) + beginning(bin - (bins_ - 1) / 2)) / static_cast<Real>(2 * bins_);
        }

      private:
        [[nodiscard]] Real beginning(std::int64_t bin) const noexcept {
            return sum_[static_cast<std::size_t>(
                std::clamp(bin - from_, std::int64_t{0}, static_cast<std::int64_t>(count_ - 1)))];
        }

        int bins_;
        int count_ = 0;
        std::int64_t from_ = 0;
        std::array<Real, kMaxBins + 2> sum_{};  // over a cycle from each bin on
    };

    static constexpr Real kNoRinging = Real(1e-6);  // rad^2/s^2

    struct Oscillation {
        Real last = 0;
        Real before = 0;
    };

    /// Takes the next value of an oscillation out of a bin.
    void ring_on(std::int64_t bin, Oscillation& ring) noexcept {
        // What has died away must not linger among the denormal numbers, where each step is slow.
        if (std::fabs(ring.last) + std::fabs(ring.before) < kNoRinging) {
            ring = {};
            return;
        }
        ring = {ring_a_ * ring.last - ring_b_ * ring.before, ring.last};
        bins_.take_out(bin, ring.last);
    }

    /// Mean residual over the cycle before `bin`: acceleration of the whole vehicle, governor, road.
    [[nodiscard]] Real trend_before(std::int64_t bin) const noexcept {
        if (!bins_.connected(bin - grid_.bins, bin)) return Real(0);
        // The pattern has no mean over a cycle, so energy gained over the cycle is all trend.
        return bins_.clean_sum(bin - grid_.bins, bin) / Real(grid_.bins);
    }

    CycleGrid grid_{};
    int turn_ = 0;
    int turns_ = 2;  // of the crank in a cycle
    int intake_back_ = 0;
    int intake_ends_back_ = 0;
    int intake_begins_back_ = 0;
    bool load_told_ = false;
    ChargeLevel<Real> charge_{};  // where nobody tells the load
    Real bin_rad_ = 0;
    Real rpm_ticks_ = 0;
    Real ring_a_ = 0;
    Real ring_b_ = 0;
    Oscillation ring_{};  // what misfires long ago have left, at the newest difference
    BinHistory<Real> bins_{};
    CyclePattern<Real> pattern_{};
};

}  // namespace kurbel
