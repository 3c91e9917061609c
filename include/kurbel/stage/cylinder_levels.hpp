// Which cylinders the learned pattern holds as dead, and which seem to have died since.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/cylinder_life.hpp"
#include "kurbel/stage/persistent_misfire.hpp"
#include "kurbel/stage/response_bank.hpp"

namespace kurbel {

/// Level of each place of the firing order against the others. A cylinder that was dead while the pattern was learned is told by
/// the orders of the pattern. One that loses its work later on, all of a sudden and for good, may have a wrong pattern instead,
/// which its firings, taken for misfires, would never mend: then the orders of the cycle as it is now tell.
template <class Real>
class CylinderLevels {
  public:
    using Places = std::array<bool, kMaxCylinders>;
    using Cycle = std::array<Real, kMaxBins>;

    void begin(const EngineConfig& engine, const WheelConfig& wheel, const CycleGrid& grid, const ResponseBank& bank,
               int first_bin, int size) noexcept {
        firings_ = grid.firings;
        bins_ = grid.bins;
        for (int k = 0; k < firings_; ++k)
            first_[static_cast<std::size_t>(k)] = grid.bins + grid.tdc_bin[static_cast<std::size_t>(k)] + first_bin;
        persistent_.begin(engine, wheel, grid, bank, first_bin, size);
        restart();
    }

    /// The pattern begins anew, for it is another engine.
    void restart() noexcept {
        relearn();
        life_.begin(firings_);
    }

    /// The pattern begins anew from firings of the same engine: what single ones have told holds.
    void relearn() noexcept {
        persistent_.restart();
        dead_.fill(false);
        offset_.fill(0);
        lately_.fill(0);
        told_.fill(0);
        run_.fill(0);
        burns_.fill(0);
        drift_.fill(0);
        died_by_.fill(0);
    }

    /// The frame turned: what was found is of other cylinders.
    void turned() noexcept {
        persistent_.restart();
        life_.begin(firings_);
        dead_.fill(false);
        died_by_.fill(0);
    }

    /// Places whose missing work the pattern holds.
    [[nodiscard]] const Places& dead() const noexcept { return dead_; }
    [[nodiscard]] bool is_dead(int place) const noexcept { return dead_[static_cast<std::size_t>(place)]; }
    /// Places of which a pattern says rather than not that they miss some of their work, the others being healthy, and those held dead.
    [[nodiscard]] Places suspects(const LearnedPattern<Real>& pattern) const noexcept {
        Places found = dead_;
        const auto evidence = persistent_.evidence_against(pattern);
        for (std::size_t k = 0; k < found.size(); ++k) found[k] = found[k] || evidence[k] > Real(0);
        return found;
    }
    /// It may have more to lose, for it was found by the cycle's orders alone.
    [[nodiscard]] bool may_burn(int place) const noexcept { return is_dead(place) && !persistent_.saw_die(place); }
    [[nodiscard]] Places may_burn() const noexcept {
        Places found{};
        for (int k = 0; k < firings_; ++k) found[static_cast<std::size_t>(k)] = may_burn(k);
        return found;
    }
    /// What a place that was seen to die lost then, which the pattern was moved by; 0 of others.
    [[nodiscard]] Real died_by(int place) const noexcept {
        return static_cast<Real>(died_by_[static_cast<std::size_t>(place)]);
    }
    /// Share of lost work that the pattern itself holds for a place.
    [[nodiscard]] Real missing(int place) const noexcept { return is_dead(place) ? Real(1) : Real(0); }
    /// Share of work by which a place's pattern lies below the others'.
    [[nodiscard]] Real offset(int place) const noexcept {
        return static_cast<Real>(offset_[static_cast<std::size_t>(place)]);
    }

    /// One firing lost `amplitude` of its work against the pattern; 0 where it was as the pattern has it. `weight`: see FiringWork::weight().
    void note(int place, Real amplitude, Real weight) noexcept {
        float& lately = lately_[static_cast<std::size_t>(place)];
        lately += static_cast<float>(weight) * (static_cast<float>(amplitude) - lately) / kLately;
        float& told = told_[static_cast<std::size_t>(place)];
        told += static_cast<float>(weight) * (1.0F - told) / kLately;
        std::uint8_t& run = run_[static_cast<std::size_t>(place)];
        run = amplitude != Real(0) ? static_cast<std::uint8_t>(std::min(run + 1, kLongest)) : std::uint8_t{0};
    }

    /// One firing that was as the pattern has it read as `lost`, give or take `error`: what it is off by beyond that the pattern is off by, where the
    /// speed moves or the pedal does.
    void note_usual(Real lost, Real error) noexcept {
        const Real off = std::min(lost * lost, kMostUnrest) - error * error;
        unrest_ +=
            static_cast<float>(std::max(off, Real(0)) - static_cast<Real>(unrest_)) / static_cast<float>(firings_);
    }

    /// See CylinderLife.
    void begin_life(int place, int count, Real mean, Real variance) noexcept {
        life_.begin_with(place, count, mean, variance);
    }

    /// One more firing of a place: `amplitude` lost against the pattern, which has it as it was with this probability; `loss_ratio`:
    /// see CylinderLife::weigh_loss(). Frees a place that was held to be dead where that shows it to burn.
    void follow_life(int place, Real amplitude, Real probability, Real loss_ratio) noexcept {
        life_.follow(place, amplitude, probability);
        if (persistent_.saw_die(place)) return;
        life_.weigh_loss(place, loss_ratio);
        if (!is_dead(place) || life_.losses(place) < kClearlyAlive) return;
        dead_[static_cast<std::size_t>(place)] = false;
        persistent_.acquit(place);
    }

    /// A place that was dead is found to burn now and then.
    void free(int place) noexcept {
        dead_[static_cast<std::size_t>(place)] = false;
        lately_[static_cast<std::size_t>(place)] = 0;
        told_[static_cast<std::size_t>(place)] = 0;
        run_[static_cast<std::size_t>(place)] = 0;
        burns_[static_cast<std::size_t>(place)] = 0;
        drift_[static_cast<std::size_t>(place)] = 0;
        died_by_[static_cast<std::size_t>(place)] = 0;
        persistent_.acquit(place);
    }

    /// One firing of a place that is held dead lost `amplitude` against the pattern, give or take `error`. Whether it burned is told by what it
    /// reads as, not by its verdict: where the engine races off that is soon in doubt, and the pattern would follow. `moving`: the speed does;
    /// `growth`: see LearnedEngine::error_growth(). Who burns again does so from one firing to the next; a pattern that is left behind by the
    /// pedal drifts. So a work is looked for both in what a firing reads and in how far that is from what the last ones did.
    void note_dead(int place, Real amplitude, Real error, bool moving, Real growth) noexcept {
        if (error > kPoorly) return;
        const auto k = static_cast<std::size_t>(place);
        // Work done against none, by a pattern that may be off as well. As long as it is not known how a lost combustion shows, a whole one may
        // read as little more than half.
        const Real off = std::sqrt(kPatternError * kPatternError + static_cast<Real>(unrest_));
        const Real work = moving ? Real(1) : Real(0.6);
        const auto ratio = [=](Real reading, Real firings, Real wrong) {
            return static_cast<float>(work * (Real(-0.5) * work - reading) / (error * error / firings + wrong * wrong));
        };
        // One that read as more than dead and does not any more has done no work.
        const Real before = std::min(static_cast<Real>(drift_[k]), Real(0));
        const float most = moving ? kOneTellsMoving : kOneTells;
        burns_[k] = std::max(burns_[k] + std::clamp(ratio(amplitude - before, Real(1), off), -kOneTells, most), 0.0F);
        run_[k] = burns_[k] > 0.0F ? static_cast<std::uint8_t>(std::min(run_[k] + 1, kLongest)) : std::uint8_t{0};
        const auto reading = static_cast<float>(amplitude);
        if (run_[k] == 0) {
            lately_[k] = grown_[k] = 0.0F;
            drift_[k] += (reading - drift_[k]) / kDrifting;
            return;
        }
        lately_[k] += (reading - lately_[k]) / static_cast<float>(run_[k]);
        grown_[k] += (static_cast<float>(growth) - grown_[k]) / static_cast<float>(run_[k]);
        // What the pattern is off by is the same in all of them, so that they tell no more than their mean does.
        const auto firings = static_cast<Real>(run_[k]);
        const float together =
            std::min(ratio(static_cast<Real>(lately_[k]) - before, firings, off),
                     ratio(static_cast<Real>(lately_[k]), firings, static_cast<Real>(grown_[k]) * off));
        burns_[k] = std::min(burns_[k], std::max(together, kLeastTold));
    }

    /// Whether a place has lost its work so often in a row that it is one that died, by the cycle's orders, too. From then on the pattern is to be
    /// as it is: what it does is then known better than how a lost combustion shows. `amplitude`: what it lost against the pattern.
    [[nodiscard]] bool dies(int place, const LearnedPattern<Real>& pattern, const ResponseBank& bank,
                            Real& amplitude) noexcept {
        const auto k = static_cast<std::size_t>(place);
        if (evidence_of_loss(place, pattern, bank) < kClearlyLost) return false;
        dead_[k] = true;
        persistent_.convict(place);
        life_.turn(place, false);
        amplitude = static_cast<Real>(lately_[k]);
        died_by_[k] = lately_[k];
        lately_[k] = 0;
        told_[k] = 0;
        run_[k] = 0;
        burns_[k] = 0;
        return true;
    }
    /// Whether that is to be asked, now and then.
    [[nodiscard]] bool may_have_died(int place) const noexcept {
        const auto k = static_cast<std::size_t>(place);
        return !dead_[k] && run_[k] >= kDied && run_[k] % kAskEvery == 0 && lately_[k] >= kMostlyLost;
    }

    /// Whether a place that was dead works again. `amplitude`: what its last firings lost against the pattern, less than nothing.
    /// `with_another`: another one does at the same time, as where one coil fires both; less is asked for.
    [[nodiscard]] bool revives(int place, bool with_another, Real& amplitude) noexcept {
        const float asked = with_another ? kOneTells : kRevived;
        if (!is_dead(place) || burns_[static_cast<std::size_t>(place)] < asked) return false;
        amplitude = static_cast<Real>(lately_[static_cast<std::size_t>(place)]);
        free(place);
        life_.turn(place, true);
        return true;
    }

    /// See PersistentMisfire.
    void track(const Cycle& residual, Real expected) noexcept { persistent_.track(residual, expected); }

    /// See PersistentMisfire.
    [[nodiscard]] Real work_size(const LearnedPattern<Real>& pattern) const noexcept {
        return persistent_.work_size(pattern, life_);
    }

    /// Looks for cylinders that were dead all the while. Log-odds of `asked` accuse, more of them where several are found at once and late, for sets
    /// that die are seen to. A further cylinder beside one that is held dead has to explain something that this one does not. Who is held dead
    /// already stays so by any that speak for it, and where no set is found any more as long as its own orders do.
    void examine(const LearnedPattern<Real>& pattern, const ResponseBank& bank, Real asked) noexcept {
        const auto finding = persistent_.examine(pattern, life_);
        for (std::size_t k = 0; k < offset_.size(); ++k) offset_[k] = static_cast<float>(finding.deviation[k]);
        for (int k = 0; k < firings_; ++k)
            if (persistent_.saw_die(k) && evidence_against(k, pattern, bank) < kClearlyThere) free(k);
        if (!persistent_.confirmed(finding)) return;
        const bool none_held = std::none_of(dead_.begin(), dead_.end(), [](bool dead) { return dead; });
        const bool late = none_held && persistent_.is_late_set(finding);
        const bool accuses =
            finding.odds >= (late ? asked + kAnother : asked) && (none_held || finding.more >= kAnother);
        if (accuses || !late) persistent_.hold(finding.missing, finding.odds);
        for (int k = 0; k < firings_; ++k) {
            bool& dead = dead_[static_cast<std::size_t>(k)];
            const bool found = finding.missing[static_cast<std::size_t>(k)] && (accuses || dead);
            if (found && !dead) life_.accuse(k);
            // While the speed moves more is asked for to accuse, and more to free: that its own orders clearly speak against it.
            const bool there =
                dead && finding.alone[static_cast<std::size_t>(k)] > (asked > Real(0) ? -kClearlyLost : kClearlyLost);
            dead = persistent_.saw_die(k) || found || there;
        }
        persistent_.remember(dead_);
    }

    /// Some place has lost most of its work lately.
    [[nodiscard]] bool any_lost() const noexcept {
        for (int k = 0; k < firings_; ++k)
            if (lost(k)) return true;
        return false;
    }

    /// Some place loses a good part of its work, firing after firing or in every other one.
    [[nodiscard]] bool any_often_lost() const noexcept {
        for (int k = 0; k < firings_; ++k)
            if (often_loses(k)) return true;
        return false;
    }

    /// A place that has lost its work by the pattern, not by the cycle's orders; -1 where there is none. `amplitude`: the share that
    /// its pattern is wrong by. `doubted`: the pattern may well be wrong, so that orders which speak against it need not do so clearly. To be
    /// asked again until there is none.
    [[nodiscard]] int wrongly_accused(const LearnedPattern<Real>& pattern, const ResponseBank& bank, bool doubted,
                                      Real& amplitude) noexcept {
        for (int k = 0; k < firings_; ++k) {
            if (!lost(k)) continue;
            if (evidence_of_loss(k, pattern, bank) > (doubted ? Real(0) : kClearlyThere)) continue;
            amplitude = static_cast<Real>(lately_[static_cast<std::size_t>(k)] / told_[static_cast<std::size_t>(k)]);
            lately_[static_cast<std::size_t>(k)] = 0;
            told_[static_cast<std::size_t>(k)] = 0;
            return k;
        }
        return -1;
    }

    /// Adds to a cycle what firings of a place do that each lose `amplitude` of their work.
    void add_losses(const ResponseBank& bank, int place, Real amplitude, Cycle& cycle) const noexcept {
        const auto& response = bank.response(place);
        for (int j = 0; j < bank.length(); ++j)
            cycle[static_cast<std::size_t>(place_of(first_[static_cast<std::size_t>(place)] + j, bins_))] +=
                amplitude * static_cast<Real>(response[static_cast<std::size_t>(j)]);
    }

  private:
    /// What the cycle's orders say of a place that loses its work against the pattern.
    [[nodiscard]] Real evidence_of_loss(int place, LearnedPattern<Real> pattern,
                                        const ResponseBank& bank) const noexcept {
        add_losses(bank, place, static_cast<Real>(lately_[static_cast<std::size_t>(place)]), pattern.difference);
        return evidence_against(place, pattern, bank);
    }

    /// The same of a pattern that holds it. Beside it the others are as the pattern has them, and those that died as if they had not: of two
    /// opposite ones that both lose their work neither would show alone.
    [[nodiscard]] Real evidence_against(int place, LearnedPattern<Real> pattern,
                                        const ResponseBank& bank) const noexcept {
        for (int k = 0; k < firings_; ++k)
            if (k != place && persistent_.saw_die(k)) add_losses(bank, k, Real(-1), pattern.difference);
        return persistent_.evidence_against(pattern)[static_cast<std::size_t>(place)];
    }

    static constexpr float kLately = 6.0F;  // firings of one place
    static constexpr int kRun = 6;          // as many in a row: the mean remembers no more
    static constexpr int kDied = 12;        // in a row
    static constexpr int kAskEvery = 4;
    static constexpr int kLongest = 255;        // that is counted; no multiple of those
    static constexpr float kMostlyLost = 0.5F;  // of its work
    static constexpr float kRevived = 3;        // log-likelihood ratio of "burns" over "dead", over firings in a row
    static constexpr float kLeastTold = 0.1F;   // of that, while firings in a row may have burned
    static constexpr float kDrifting = 2.0F;    // firings
    static constexpr float kOneTells = 2;       // of that at most: one firing, or two, may be the only ones
    static constexpr float kOneTellsMoving = 1.4F;  // a gear that bites may do so twice
    static constexpr Real kPatternError = Real(0.12);
    static constexpr Real kMostUnrest = Real(1);     // of one firing
    static constexpr Real kPoorly = Real(0.5);       // measured: firings in a row are then off alike
    static constexpr float kOftenLost = 0.3F;        // mean of the last: a misfire loses a third at least
    static constexpr Real kClearlyThere = Real(-3);  // log-likelihood ratio of "misses its work"
    static constexpr Real kClearlyLost = Real(3);
    static constexpr Real kClearlyAlive = Real(6);
    // Log-odds, where others were found before, or none for long: one look of very many.
    static constexpr Real kAnother = Real(6);

    [[nodiscard]] bool often_loses(int place) const noexcept {
        return !is_dead(place) && lately_[static_cast<std::size_t>(place)] >= kOftenLost;
    }
    [[nodiscard]] bool lost(int place) const noexcept {
        // Who fires as the pattern has it in between has a right one.
        return often_loses(place) && run_[static_cast<std::size_t>(place)] >= kRun;
    }

    int firings_ = 0;
    int bins_ = 1;
    std::array<int, kMaxCylinders> first_{};  // bin of a place's first response, a cycle added so that none is negative
    Places dead_{};
    std::array<float, kMaxCylinders> burns_{};  // of a dead place, see note_dead()
    std::array<float, kMaxCylinders> drift_{};  // what its last ones read that did not burn
    std::array<float, kMaxCylinders> died_by_{};
    std::array<float, kMaxCylinders>
        grown_{};          // mean of by how much the pattern's errors count for more at those that may burn
    float unrest_ = 0.0F;  // mean square of what the last firings were off by that were as the pattern has them
    std::array<float, kMaxCylinders> offset_{};
    std::array<float, kMaxCylinders>
        lately_{};  // mean of what the last firings lost that were not as the pattern has them
    std::array<float, kMaxCylinders> told_{};        // what that would be had each lost one: it begins from nothing
    std::array<std::uint8_t, kMaxCylinders> run_{};  // how many of them came in a row
    PersistentMisfire<Real> persistent_{};
    CylinderLife<Real> life_{};
};

}  // namespace kurbel
