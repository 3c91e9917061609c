// What is known of this engine, and how its parts are learned together.
#pragma once

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstdint>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/cylinder_levels.hpp"
#include "kurbel/stage/driveline_swing.hpp"
#include "kurbel/stage/edge_noise.hpp"
#include "kurbel/stage/expected_work.hpp"
#include "kurbel/stage/firing_wave.hpp"
#include "kurbel/stage/healthy_cycle.hpp"
#include "kurbel/stage/learned_pattern.hpp"
#include "kurbel/stage/residual_history.hpp"
#include "kurbel/stage/response_bank.hpp"
#include "kurbel/stage/usual_engine.hpp"
#include "kurbel/stage/window_covariance.hpp"
#include "kurbel/stage/window_misfit.hpp"
#include "kurbel/stage/window_prior.hpp"
#include "kurbel/stage/work_size.hpp"

namespace kurbel {

/// The work that a firing should do, the healthy pattern of the cycle and what the last cycles held beyond it, how a misfire
/// shows, how windows around healthy firings scatter, and which cylinders are dead. The parts are open; what is here are the rules
/// by which one changes with another. Which firings teach what, and when, is the WorkEstimator's.
template <class Real>
struct LearnedEngine {
    ExpectedWork<Real> expected{};
    ResidualHistory<Real> residuals{};
    WindowCovariance covariance{};
    ResponseBank bank{};
    CylinderLevels<Real> levels{};
    WindowMisfit misfit{};
    EdgeNoise edges{};
    DrivelineSwing swing{};
    FiringWave<Real> wave{};
    int steady_cycles = 0;  ///< learned since the speed changed

    /// Cycles after which the engine is known well enough to be judged, where more cannot be waited for.
    static constexpr int kLearningCycles = 4;
    /// What is left of the work where it is as good as steady.
    static constexpr Real kSteadyWork = Real(0.9);

    /// Windows of `size` bins, `before` of them before TDC; `hold`: bins that responses reach further.
    void configure(const Config& config, const CycleGrid& grid, int before, int size, int hold) noexcept {
        window = size;
        healthy = HealthyCycle(config.engine, grid);
        expected.begin(config.engine);
        wave.begin(healthy, grid, config.crank_wheel.teeth, config.engine);
        residuals.configure(config, grid);
        bank.begin(config.engine, config.crank_wheel, grid, -before, size, size + hold);
        levels.begin(config.engine, config.crank_wheel, grid, bank, -before, size);
        reset();
    }

    void reset() noexcept {
        residuals.reset();
        covariance.begin(window);
        edges.begin();
        swing.begin();
        expected.reset();
        begin_learning();
    }

    /// Another engine, as far as pattern and levels go.
    void begin_learning() noexcept {
        residuals.begin_pattern(expected.at_full_charge(), healthy);
        levels.restart();
        expected.restart();
        fastest = {};
        awaited = kFirstCycles;
    }

    /// There is no room for more cycles, or the stream has ended: what was learned has to do, where it may.
    void make_do() noexcept { awaited = kLearningCycles; }
    [[nodiscard]] bool may_do() const noexcept { return cycles() >= kLearningCycles; }

    [[nodiscard]] const CycleGrid& grid() const noexcept { return residuals.grid(); }
    [[nodiscard]] int bins() const noexcept { return grid().bins; }  ///< of a cycle
    [[nodiscard]] int cycles() const noexcept { return residuals.pattern().cycles(); }
    [[nodiscard]] bool settled() const noexcept { return cycles() >= awaited; }

    [[nodiscard]] Real expected_work(std::int64_t bin) const noexcept {
        return expected.at(residuals.charge_load(bin));
    }
    [[nodiscard]] bool sized() const noexcept { return expected.known(residuals.load_told()); }

    /// Variance of the pattern at `bin` over that of what a firing there scatters by, whose work should be `work`: combustion scatters in
    /// proportion to the work, so that a pattern learned while the engine worked hard is off by more of the little that it does now.
    [[nodiscard]] Real pattern_doubt(std::int64_t bin, Real work) const noexcept {
        return residuals.pattern().adapted_doubt(residuals.point(bin)) * grown(work);
    }

    /// Torque that came or went with the fuel of some cylinders not long before `bin`, as mean work a bin over that of a firing: it sets
    /// the driveline swinging by as much (step response of a mass on a spring, any textbook on vibration).
    [[nodiscard]] float torque_step(std::int64_t bin) const noexcept {
        // A shuffle of 2 to 8 Hz with a tenth of critical damping has died away by then (engineering range, from memory).
        constexpr float kSwinging_s = 0.4F;
        const BinHistory<Real>& bins = residuals.bins();
        const int since = bins.same_cut_for(bin);
        if (!bins.holds(bin - since)) return 0.0F;
        const auto bin_s = static_cast<float>(grid().bin_deg / 6.0) / static_cast<float>(residuals.speed_around(bin));
        if (static_cast<float>(since) * bin_s > kSwinging_s) return 0.0F;
        const int changed = std::popcount(bins.cut(bin - since) ^ bins.cut(bin));
        return static_cast<float>(changed) / static_cast<float>(grid().bins);
    }

    /// The firing at `bin` had no fuel, and the pattern has it with fuel.
    [[nodiscard]] bool lost_for_certain(std::int64_t bin, int place) const noexcept {
        return residuals.was_cut_throughout(bin, place) && ((cut_learned >> place) & 1U) == 0;
    }

    /// All cylinders that were cut while the pattern was learned were cut from bin `first` to bin `last`, too: those that were cut beside them
    /// are known to have lost their work.
    [[nodiscard]] bool same_engine(std::int64_t first, std::int64_t last) const noexcept {
        return cut_learned == 0U || (residuals.bins().cut_within(first, last).all & cut_learned) == cut_learned;
    }

    /// From now on the load is told: another pattern.
    void expect_load(Real load) noexcept {
        residuals.expect_load(load);
        expected.expect_load();
        begin_learning();
    }

    /// Where nobody tells the load, the crank does, whenever a firing begins at the newest bin. True where that has made another pattern of it.
    bool follow_charge() noexcept {
        const BinHistory<Real>& bins = residuals.bins();
        if (residuals.load_told() || !wave.shows() || residuals.firing_at(bins.newest()) < 0 ||
            !bins.connected(bins.newest() - grid().bins, bins.newest()))
            return false;
        const Real charge =
            wave.charge(bins, bins.newest(), expected.learned_at_full_charge(), static_cast<Real>(bank.mode_per_rev()));
        if (!residuals.take_charge(charge)) return false;
        begin_learning();
        return true;
    }

    /// Learns from the cycle that begins at bin `first`, with what stands before bin `until`. True where the pattern was found wrong and
    /// moved.
    bool learn_cycle(std::int64_t first, std::int64_t until) noexcept {
        const std::int64_t last = first + grid().bins - 1;
        const std::uint32_t cut = residuals.bins().cut(last);
        const std::uint32_t all = (1U << grid().firings) - 1U;
        if (!residuals.bins().same_cut(first, last) || cut == all) return false;
        // A starter's cycles, and those in which the engine catches, are no example of what it does.
        if (residuals.speed_around(first + grid().bins / 2) < Real(kRunning_rpm)) return false;
        if (cut != cut_learned) {
            // With other cylinders switched off this is another engine.
            begin_learning();
            cut_learned = cut;
            return false;
        }
        const PatternPoint<Real> mean = learn_pattern(first, until);
        const Real rpm = residuals.speed_around(first + grid().bins / 2);
        if (residuals.load_told() && rpm > kSlowing * mean_rpm) expected.keeps_speed(mean.load, cycles());
        const bool speed_changed = follow_speed(rpm);
        // Often at first and while the speed moves, seldom in a steady state, and both in the same cycle never.
        steady_cycles = speed_changed ? 0 : steady_cycles + 1;
        const int every = steady_cycles < 64 ? 16 : (steady_cycles < 256 ? 32 : 64);
        if (speed_changed || (cycles() & (cycles() - 1)) == 0 || cycles() % every == 0) match();
        if (!covariance.begun()) return false;
        bool moved = false;
        // The first cycles come once more, without the misfires in them.
        if (settled() && (cycles() < 16 || cycles() % every == every / 2)) {
            // While the speed moves the pattern lags behind: then it accuses where that is beyond doubt. Where the work is little its errors are
            // not, and it tells nothing of who burns.
            const bool steady = steady_cycles >= std::min(kMovingCycles, cycles() / 2);
            if (!works_little(first + grid().bins / 2)) moved = examine(first, mean, steady ? Real(0) : kBeyondDoubt);
        }
        return (settled() && levels.any_lost() && doubt_pattern(first, mean)) || moved;
    }

    /// Learns the pattern anew from `count` cycles in a row from bin `first` on, as they are now. `look_for_dead`: and looks for cylinders that
    /// were dead all the while, which takes longer than all the rest.
    void learn_again(std::int64_t first, int count, bool look_for_dead) noexcept {
        residuals.begin_pattern(expected.at_full_charge(), healthy);
        levels.relearn();
        for (int i = 0; i < count; ++i) {
            const std::int64_t from = first + i * grid().bins;
            const PatternPoint<Real> mean = learn_pattern(from, first + count * grid().bins);
            // What two cycles in a row tell is believed.
            if (look_for_dead && i + 2 >= count) examine(from, mean, Real(0));
        }
    }

    /// Where what a firing should do is a guess, it is what the wave of the firings makes it, or the pattern of the cycle that begins at bin `first`.
    /// What was told is a guess, too, where the wave is many times as large or as small.
    void guess_size(std::int64_t first) noexcept {
        if (wave.shows() && residuals.load_told()) return guess_by_wave();
        if (sized()) return;
        std::array<Real, kMaxBins> residual{};
        PatternPoint<Real> mean;
        residuals.cycle(first, first + grid().bins, residual, mean);
        expected.rescale(levels.work_size(pattern_at(first, mean)));
    }

    /// Places that seem to miss work in the pattern as it is, seen from the cycle that begins at bin `first`.
    [[nodiscard]] typename CylinderLevels<Real>::Places suspects(std::int64_t first) const noexcept {
        std::array<Real, kMaxBins> residual{};
        PatternPoint<Real> mean;
        residuals.cycle(first, first + grid().bins, residual, mean);
        return levels.suspects(pattern_at(first, mean));
    }

    /// Brings responses, scatter and what follows from both into step.
    void match() noexcept {
        bank.choose(covariance.learned());
        if (!covariance.begun()) return;
        bank.compose(covariance);
        residuals.set_ringing(static_cast<Real>(bank.ringing().a), static_cast<Real>(bank.ringing().b));
        if (!covariance.factorise(bank.doubt(), edges.matched())) return;
        bank.match(covariance);
        misfit.follow(covariance, window, edges.matched());
        swing.match(covariance, window);
    }

    /// Learns how far edges are off from the window of a firing at `bin`. True where windows are to be matched anew for it.
    bool follow_edges(std::int64_t bin, const Window& x, int place, float amplitude, int length) noexcept {
        const auto ratio = static_cast<float>(residuals.point(bin).energy / expected_work(bin));
        edges.learn(x, bank.response(place), amplitude, length, ratio);
        const float usual = covariance.bend();
        const float excess = edges.excess(ratio, usual);
        if (!edges.moved(excess, usual)) return false;
        edges.match(excess);
        return true;
    }

    /// The pattern at the operating point `mean` of the cycle that begins at bin `first`.
    [[nodiscard]] LearnedPattern<Real> pattern_at(std::int64_t first, const PatternPoint<Real>& mean) const noexcept {
        return learned_pattern(residuals, expected, bank, point_of(first, mean), fastest);
    }
    [[nodiscard]] LearnedPoint<Real> point_of(std::int64_t first, const PatternPoint<Real>& mean) const noexcept {
        return {mean, residuals.charge_load(first + grid().bins / 2)};
    }

    /// Looks at firings under one hypothesis of how a misfire shows. match() ends the trial.
    void assume(int hypothesis) noexcept {
        bank.assume(hypothesis);
        bank.compose(covariance);
        bank.match_places(covariance);
    }

    /// The speed has moved lately.
    [[nodiscard]] bool is_moving() const noexcept { return steady_cycles < kMovingCycles; }

    /// What the expected work at `bin` is of what it was some cycles before; where it has fallen, the pattern's errors count for more. One where
    /// that is not known.
    [[nodiscard]] Real work_left(std::int64_t bin) const noexcept {
        constexpr int kCycles = 4;
        const std::int64_t before = bin - kCycles * grid().bins;
        return residuals.bins().holds(before) ? expected_work(bin) / expected_work(before) : Real(1);
    }

    /// By how much the pattern's errors at `bin` count for more, over the work there, than where it was learned.
    [[nodiscard]] Real error_growth(std::int64_t bin) const noexcept { return std::sqrt(grown(expected_work(bin))); }
    /// Firings at `bin` should do less than half of what they did while the pattern was learned.
    [[nodiscard]] bool works_little(std::int64_t bin) const noexcept { return error_growth(bin) >= kMostGrown; }

    /// Whether a place, the last firing of which stands at `bin`, has died; `lost`: what it loses against the pattern.
    [[nodiscard]] bool has_died(int place, std::int64_t bin, Real& lost) noexcept {
        return !is_moving() && work_left(bin) > kSteadyWork && levels.may_have_died(place) &&
               levels.dies(place, pattern_at(bin - grid().bins / 2, residuals.point(bin)), bank, lost);
    }

    /// Puts the pattern where firings of a place are that lost `lost` of their work against it, and are healthy.
    void move_pattern(int place, Real lost) noexcept {
        std::array<Real, kMaxBins> share{};
        levels.add_losses(bank, place, lost * expected.learned_at_full_charge(), share);
        residuals.shift_pattern(share, work_at_rest());
    }

    /// As levels.follow_life(). True where that has freed the place, and moved the pattern.
    bool follow_life(int place, Real amplitude, Real probability, Real loss_ratio) noexcept {
        const auto before = levels.may_burn();
        levels.follow_life(place, amplitude, probability, loss_ratio);
        return give_to_work(before);
    }

    /// The frame turned by half a cycle. What was found of the cylinders is of others; `pattern_too`: so is the pattern.
    void turn(bool pattern_too) noexcept {
        const auto before = levels.may_burn();
        levels.turned();
        give_to_work(before);
        if (pattern_too) residuals.turn_pattern();
    }

    /// The same for one operating point, where a firing should do the work `whole`: there the pattern is wrong, elsewhere it may be right.
    void correct_pattern(int place, Real lost, Real whole, const PatternPoint<Real>& at) noexcept {
        std::array<Real, kMaxBins> difference{};
        levels.add_losses(bank, place, lost * whole, difference);
        residuals.correct_pattern(difference, at);
    }

    /// What windows scatter by before any has been seen; from the speed and the expected work at `bin`.
    void begin_covariance(std::int64_t bin) noexcept {
        bank.set_speed(static_cast<float>(residuals.speed_around(bin)));
        bank.compose(covariance);
        // An angle error changes a bin's energy by twice the error over the bin's length.
        constexpr double kEdgeError_deg = 0.03;
        const Real edge =
            static_cast<Real>(2.0 * kEdgeError_deg / grid().bin_deg) * residuals.point(bin).energy / expected_work(bin);
        fill_window_prior(covariance, bank, grid(), static_cast<float>(edge));
        match();
    }

  private:
    /// By how much the error of what was learned at the usual work counts for more where the work is less.
    [[nodiscard]] Real grown(Real work) const noexcept {
        const Real harder = std::max(usual_work / work, Real(1));
        return harder * harder;
    }

    void guess_by_wave() noexcept {
        const BinHistory<Real>& seen = residuals.bins();
        std::int64_t end = seen.newest();
        while (residuals.firing_at(end) < 0) --end;
        // What was told is only doubted where no crank is so soft that it may be right.
        const Real mode_per_rev = static_cast<Real>(bank.mode_per_rev()) * (sized() ? kSoft : Real(1));
        typename FiringWave<Real>::Size size{0, 0, 0};
        int cycles_seen = 0;
        for (; seen.connected(end - bins(), end) && residuals.speed_around(end - bins()) > Real(kRunning_rpm);
             end -= bins()) {
            const auto one = wave.size(seen, end, expected.learned_at_full_charge(),
                                       expected.charge(residuals.charge_load(end - bins() / 2)), mode_per_rev);
            // No number where the load was told and taken back, and none to speak of where gas and pistons cancel.
            if (!(one.ratio * one.ratio + one.unthrottled * one.unthrottled + one.variance < Real(1e8))) continue;
            ++cycles_seen;
            size.ratio += (one.ratio - size.ratio) / Real(cycles_seen);
            size.variance += (one.variance - size.variance) / Real(cycles_seen);
            size.unthrottled += (one.unthrottled - size.unthrottled) / Real(cycles_seen);
        }
        if (cycles_seen == 0) return;
        const auto told = [&](Real log_size) { return wave.evidence(size, std::exp(log_size)); };
        if (!sized()) return expected.rescale(likeliest_size<Real>(GuessedSize<Real>{}, told));
        const Real unusual = expected.log_unusual();
        if (std::fabs(std::log(likeliest_size<Real>(ToldSize<Real>{unusual}, told))) > kSlip)
            expected.disbelieve(likeliest_size<Real>(DisbelievedSize<Real>{unusual}, told));
    }

    static constexpr Real kSoft = Real(0.6);  // frequency of a soft crank's first mode over the expected one
    static constexpr Real kSlip = Real(0.7);  // logarithm: twice as much is none
    static constexpr int kMovingCycles = 12;
    static constexpr Real kBeyondDoubt = Real(15);  // log-odds
    // An idle swings by as much from cycle to cycle.
    static constexpr Real kSlowing = Real(0.985);  // of the speed of the last cycles
    static constexpr Real kMostGrown = Real(2);    // of errors

    /// The pattern, and how the cycle's orders scatter, from the cycle that begins at bin `first`; its operating point. Where a cylinder
    /// loses its work all the time, what is taken out for it can no longer be told from the pattern, and what the response gets wrong
    /// would go over into the pattern, cycle by cycle, until it is all there: it stays as it is known.
    PatternPoint<Real> learn_pattern(std::int64_t first, std::int64_t until) noexcept {
        std::array<Real, kMaxBins> residual{};
        PatternPoint<Real> mean;
        residuals.cycle(first, until, residual, mean);
        const Real work = expected_work(first + grid().bins / 2);
        levels.track(residual, work);
        usual_work += (work - usual_work) / Real(std::min(cycles() + 1, 100));
        if (mean.energy > fastest.at.energy && !works_little(first + grid().bins / 2)) fastest = point_of(first, mean);
        const bool rests = !is_moving() && !residuals.pattern().young() && levels.any_often_lost();
        if (!rests) residuals.learn_pattern(residual, mean, work_at_rest());
        return mean;
    }

    /// Looks for cylinders that were dead all the while. True where that has moved the pattern.
    bool examine(std::int64_t first, const PatternPoint<Real>& mean, Real asked) noexcept {
        const auto before = levels.may_burn();
        levels.examine(pattern_at(first, mean), bank, asked);
        return give_to_work(before);
    }

    /// What the pattern holds of places that were found dead goes with their work, at speeds and loads at which they were not seen, too; of places
    /// that are not any more it does not. `before`: which were. True where there are any.
    bool give_to_work(const typename CylinderLevels<Real>::Places& before) noexcept {
        bool any = false;
        for (int k = 0; k < grid().firings; ++k) {
            const int found = int{levels.may_burn(k)} - int{before[static_cast<std::size_t>(k)]};
            if (found == 0) continue;
            any = true;
            std::array<Real, kMaxBins> share{};
            levels.add_losses(bank, k, Real(found) * expected.learned_at_full_charge(), share);
            residuals.give_pattern_to_work(share, work_at_rest());
        }
        return any;
    }

    [[nodiscard]] Real work_at_rest() const noexcept { return expected.useful_on_line(residuals.load_at_rest()); }

    /// The response follows the mean speed of some cycles: an idle that swings, or a misfire, is no other speed. True where it
    /// moved enough to matter.
    [[nodiscard]] bool follow_speed(Real rpm) noexcept {
        constexpr int kCycles = 12;
        mean_rpm += (rpm - mean_rpm) / Real(std::clamp(cycles(), 1, kCycles));
        return bank.set_speed(static_cast<float>(mean_rpm));
    }

    /// Moves the pattern where it, and not the cylinder, is what is wrong. True where it did.
    bool doubt_pattern(std::int64_t first, const PatternPoint<Real>& mean) noexcept {
        // Where the work is little the orders tell little, too.
        const bool doubted = is_moving() && !works_little(first + grid().bins / 2);
        for (int moved = 0; moved < grid().firings; ++moved) {
            Real amplitude = 0;
            const int place = levels.wrongly_accused(pattern_at(first, mean), bank, doubted, amplitude);
            if (place < 0) return moved > 0;
            correct_pattern(place, amplitude, expected_work(first + grid().bins / 2), mean);
        }
        return true;
    }

    HealthyCycle healthy{};
    int window = 0;                 // bins
    int awaited = kFirstCycles;     // cycles to be learned before any is judged
    std::uint32_t cut_learned = 0;  // cylinders that were cut while the pattern was learned
    Real mean_rpm = 0;
    LearnedPoint<Real> fastest{};  // that the pattern was learned at
    Real usual_work = 0;           // of a firing in the cycles that told how the pattern scatters
};

}  // namespace kurbel
