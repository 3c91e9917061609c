// Tells a cylinder that misfires all the time from a pattern that a healthy engine has.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/learned_pattern.hpp"
#include "kurbel/stage/log_sum.hpp"
#include "kurbel/stage/missing_odds.hpp"
#include "kurbel/stage/missing_search.hpp"
#include "kurbel/stage/orders_fit.hpp"
#include "kurbel/stage/pattern_model.hpp"
#include "kurbel/stage/surrounding.hpp"
#include "kurbel/stage/work_size.hpp"

namespace kurbel {

/// Bayesian comparison of sets of cylinders whose work is missing from a learned cycle pattern.
///
/// What a pattern is made of, PatternModel says. What hangs on the crank is not known: a few driveline resonances, burn delays and wheels, true
/// and eccentric, are tried, and what they tell is summed. An equal loss in all cylinders cannot be seen.
template <class Real>
class PersistentMisfire {
  public:
    using Set = std::array<bool, kMaxCylinders>;

    /// Which places (firing order) miss their work in the pattern, and how far each deviates beyond that (share of expected
    /// work, positive: less work than the others).
    struct Finding {
        Set missing{};
        std::array<Real, kMaxCylinders> deviation{};
        Real odds = 0;  ///< logarithm of them, that some do
        Real more = 0;  ///< logarithm of them, that it is these and not those that were found before
        std::array<Real, kMaxCylinders>
            alone{};  ///< log-likelihood ratio of "this one alone misses its work" over "none does"
    };

    void begin(const EngineConfig& engine, const WheelConfig& wheel, const CycleGrid& grid, const ResponseBank& bank,
               int first_bin, int size) noexcept {
        patterns_.begin(engine, wheel, grid, bank, first_bin, size);
        restart();
    }

    /// Forgets what was seen, keeps the engine.
    void restart() noexcept {
        last_.fill(false);
        held_.fill(false);
        died_.fill(false);
        ever_.fill(false);
        patterns_.restart();
        examined_ = 0;
        surest_ = 0;
        chosen_ = 0;
        others_add_ = 0;
    }

    /// See PatternModel.
    void track(const std::array<Real, kMaxBins>& residual, Real expected) noexcept {
        patterns_.track(residual, expected);
    }

    /// Tries all surroundings at first, later the best one and two others. Cylinders are missing where that is likelier than that none
    /// is, whatever surrounds the crank; which ones, the surrounding tells that explains most.
    [[nodiscard]] Finding examine(const LearnedPattern<Real>& pattern, const CylinderLife<Real>& life) noexcept {
        if (orders().firings() < 2 || orders().count() == 0 || patterns_.tracked() < 3) return {};
        const Projected projected = patterns_.project(pattern);
        const auto look = [&](int around, Odds& odds) noexcept {
            const Explanation e = explain(pattern, projected, around, life);
            const bool some = std::any_of(e.missing.begin(), e.missing.end(), [](bool missing) { return missing; });
            odds.add(around, e.evidence, e.gain, some && e.size >= kDead, e);
        };
        const auto look_at_chosen = [&]() noexcept {
            Odds odds;
            look(chosen_, odds);
            look(Around(chosen_).other_wheel(), odds);  // whether the wheel is what is odd
            return odds;
        };
        const bool all = examined_++ < kThorough;
        Odds odds;
        if (!all) odds = look_at_chosen();
        // Later on what all the others add to the odds is taken as it was then; one of them is tried in turn.
        const Real later = odds.odds() + others_add_;
        for (int i = 0; i < (all ? Around::kCount : 1); ++i) look((examined_ + i) % Around::kCount, odds);
        const auto& best = odds.best((all ? odds.odds() : later) > Real(0));
        chosen_ = best.around;
        if (all) {
            // Where the chosen ones have no dead set to offer, what the others add to one is not known.
            const Odds of_chosen = look_at_chosen();
            others_add_ =
                of_chosen.any_dead() ? std::clamp(odds.odds() - of_chosen.odds(), -kMostAdded, kMostAdded) : Real(0);
        }
        Finding finding = find(patterns_.model(pattern, projected, chosen_), best.explanation);
        finding.odds = all ? odds.odds() : later;
        return finding;
    }

    /// Of each place the log-likelihood ratio of "this one alone misses its work" over "none does", in the surrounding that explains most.
    [[nodiscard]] std::array<Real, kMaxCylinders> evidence_against(const LearnedPattern<Real>& pattern) const noexcept {
        const OrdersFit<Real> fit(patterns_.model(pattern, patterns_.project(pattern), chosen_), orders().firings());
        const Search sets = search(fit, pattern, CylinderLife<Real>{});
        std::array<Real, kMaxCylinders> alone{};
        for (int k = 0; k < orders().firings(); ++k) alone[static_cast<std::size_t>(k)] = sets.alone(k);
        return alone;
    }

    /// How many times the work that was guessed a firing does, by what the pattern shows of all of them, whoever may be dead or weak in it. Evenly
    /// firing cylinders add up to nothing that shows, and where torsion is near it adds as much as there is: one, there.
    [[nodiscard]] Real work_size(const LearnedPattern<Real>& pattern, const CylinderLife<Real>& life) const noexcept {
        if (orders().firings() < 2 || orders().even() || patterns_.tracked() < 3 || pattern.mode_per_rev < kFarMode)
            return Real(1);
        const Projected projected = patterns_.project(pattern);
        return likeliest_size<Real>(
            GuessedSize<Real>{}, [&](Real log_size) { return evidence_of_size(pattern, projected, life, log_size); });
    }

    /// A place that was found burns after all.
    void acquit(int place) noexcept {
        held_[static_cast<std::size_t>(place)] = false;
        died_[static_cast<std::size_t>(place)] = false;
        last_[static_cast<std::size_t>(place)] = false;
    }

    /// A place was seen to die: the pattern holds that from now on.
    void convict(int place) noexcept {
        held_[static_cast<std::size_t>(place)] = true;
        last_[static_cast<std::size_t>(place)] = true;
        died_[static_cast<std::size_t>(place)] = true;
    }

    [[nodiscard]] bool saw_die(int place) const noexcept { return died_[static_cast<std::size_t>(place)]; }

    /// True where the finding before this one named the same places.
    [[nodiscard]] bool confirmed(const Finding& finding) noexcept {
        const bool same = finding.missing == last_;
        last_ = finding.missing;
        return same;
    }

    /// These are held to miss their work from now on, and those that were seen to die; `odds`: logarithm of them, as in Finding.
    void hold(const Set& missing, Real odds) noexcept {
        const Set before = held_;
        // That they were held made them likelier: what they are sure by is what speaks for them without that.
        Real history = 0;
        const auto sure = sure_odds();
        for (std::size_t k = 0; k < held_.size(); ++k)
            if (held_[k] && missing[k] && !died_[k]) history += hardened() * kHeld + sure[k];
        for (std::size_t k = 0; k < held_.size(); ++k) held_[k] = missing[k] || died_[k];
        surest_ = std::max(before == held_ ? surest_ : Real(0), odds - history);
    }

    /// These are dead, whether they are found again or not.
    void remember(const Set& dead) noexcept {
        for (std::size_t k = 0; k < ever_.size(); ++k) ever_[k] = ever_[k] || dead[k];
    }

    /// Whether a finding takes several at once when the pattern has long been known.
    [[nodiscard]] bool is_late_set(const Finding& finding) const noexcept {
        return hardened() >= Real(1) && std::count(finding.missing.begin(), finding.missing.end(), true) > 1;
    }

  private:
    using Around = Surrounding<Real>;
    static constexpr int kThorough = 3;  // examinations
    static constexpr Real kMostAdded = Real(5);
    static constexpr Real kLargestMisfit = Real(4);
    static constexpr Real kFarMode = Real(4);        // cycles a revolution
    static constexpr Real kShapeError = Real(0.15);  // what burns of the same work differ by at the orders of the cycle
    static constexpr Real kWeakSpread = Real(0.12);
    // Nearer to dead than to healthy; less than that is a weak cylinder.
    static constexpr Real kDead = Real(0.5);
    static constexpr Real kWeak = Real(0.2);
    static constexpr Real kRarely =
        Real(3);  // who looks for misfires finds a given cylinder dead in one of twenty recordings
    // What half orders show is there from the first cycles on, so that one who was not found then is not dead: log-odds. Sets that lie
    // evenly show at whole orders alone, where the wheel's error stands before them, and may be found late; and none is held for good.
    static constexpr Real kHardened = Real(10);
    static constexpr Real kHeld = Real(3);
    // Who is dead is so at any speed: where one told it for sure, another that tells little, or is wrong near a resonance, does not free them.
    static constexpr Real kMostSure = Real(20);
    static constexpr Real kDied = Real(20);  // log-odds of one that was seen to die
    static constexpr int kHardening = 200;   // cycles
    using Patterns = PatternModel<Real>;
    using Projected = typename Patterns::Projected;
    using Model = typename Patterns::Model;
    using Square = typename Model::Square;
    using Side = typename Model::Side;
    using Search = MissingSearch<Real, Square, Side>;

    /// What one surrounding makes of a pattern.
    struct Explanation {
        Real evidence = 0;  ///< logarithm, but for what all surroundings share
        Real gain = 0;      ///< what the set that is missing adds to it
        Real more = 0;      ///< of that, what the set that was found before does not
        Set missing{};
        Real size = 1;                            ///< share of its work that each of them misses
        std::array<Real, kMaxCylinders> alone{};  ///< as in Finding
    };

    using Odds = MissingOdds<Real, Explanation>;

    [[nodiscard]] const CylinderOrders& orders() const noexcept { return patterns_.orders(); }

    /// Logarithm of how likely a pattern is, if work is this many times what was guessed, on a crank on which nothing soft hangs.
    [[nodiscard]] Real evidence_of_size(LearnedPattern<Real> pattern, Projected projected,
                                        const CylinderLife<Real>& life, Real log_size) const noexcept {
        const Real less = std::exp(-log_size);
        pattern.energy *= less;
        pattern.scale = less;
        pattern.work_error = kShapeError;
        pattern.fastest.energy = 0;
        // What is measured less by has a density that is higher by as much.
        Real denser = 0;
        for (int o = 0; o < orders().count(); ++o) {
            const bool open = patterns_.is_open(o, pattern);
            projected[static_cast<std::size_t>(o)] *= open ? less : Real(0);
            denser -= open ? Real(2) * log_size : Real(0);
        }
        LogSum<Real> sum;
        for (int around = 0; around < Around::kCount; around += Around::kHanging)
            sum.add(explain(pattern, projected, around, life).evidence);
        return sum.value() + denser;
    }

    [[nodiscard]] Search search(const OrdersFit<Real>& fit, const LearnedPattern<Real>& pattern,
                                const CylinderLife<Real>& life) const noexcept {
        return Search(fit.quadratic(), fit.linear(), orders().firings(),
                      pattern.sized ? typename Search::Sizes{kWeak, kDead, Real(1.4), Real(0.3), pattern.torque_size}
                                    : typename Search::Sizes{kWeak, kDead, Real(6), Real(0.5)},
                      prior_odds(life), life, orders().four_stroke(), even_odds(), sure_odds());
    }

    /// Fits the pattern in one surrounding.
    [[nodiscard]] Explanation explain(const LearnedPattern<Real>& pattern, const Projected& projected, int around,
                                      const CylinderLife<Real>& life) const noexcept {
        const Model m = patterns_.model(pattern, projected, around);
        const OrdersFit<Real> fit(m, orders().firings());
        const Search sets = search(fit, pattern, life);
        Explanation e;
        e.gain = sets.best(e.missing);
        e.more = e.gain - sets.of(held_);
        e.evidence =
            e.gain + fit.evidence() + patterns_.surprise(m, pattern, projected, around) + Around(around).usual();
        e.size = sets.size(e.missing);
        for (int k = 0; k < orders().firings(); ++k) e.alone[static_cast<std::size_t>(k)] = sets.alone(k);
        return e;
    }

    /// What follows from the explanation that was chosen.
    [[nodiscard]] Finding find(const Model& m, const Explanation& chosen) const noexcept {
        Finding finding;
        finding.missing = chosen.missing;
        finding.alone = chosen.alone;
        finding.more = chosen.more;
        const auto weighted = (m.weight.asDiagonal() * m.shape).eval();
        const Square information = m.shape.transpose().lazyProduct(weighted);
        const Side seen = weighted.transpose().lazyProduct(m.data);
        Side lost = Side::Zero(seen.size());
        for (int k = 0; k < orders().firings(); ++k)
            if (finding.missing[static_cast<std::size_t>(k)]) lost[k] = chosen.size;
        Square posterior = information;
        posterior.diagonal() += m.prior;
        const Side deviation = posterior.llt().solve(Side(seen - information * lost));
        // A pattern that no set of cylinders explains (a resonance swept through) says nothing new.
        const typename Model::Vector left = m.data - m.shape * (lost + deviation);
        if (left.dot(m.weight.cwiseProduct(left)) > kLargestMisfit * static_cast<Real>(left.size()))
            finding.missing = held_;
        else if (chosen.size < kDead)
            finding.missing.fill(false);
        read_deviations(information, seen, m.prior, chosen.size, finding);
        return finding;
    }

    /// How far each cylinder lies from the others. A weak one may be further off than healthy ones are from each other.
    void read_deviations(const Square& information, const Side& seen, const Side& prior, Real size,
                         Finding& finding) const noexcept {
        const int firings = orders().firings();
        Side lost = Side::Zero(seen.size());
        Square posterior = information;
        posterior.diagonal() += prior;
        for (int k = 0; k < firings; ++k) {
            if (finding.missing[static_cast<std::size_t>(k)]) lost[k] = size;
            posterior(k, k) += Real(1) / (kWeakSpread * kWeakSpread) - prior[k];
        }
        const Side deviation = posterior.llt().solve(Side(seen - information * lost));
        for (int k = 0; k < firings; ++k) finding.deviation[static_cast<std::size_t>(k)] = deviation[k];
    }

    /// How long the pattern has been known, 0 to 1.
    [[nodiscard]] Real hardened() const noexcept {
        return std::min(static_cast<Real>(patterns_.tracked()) / static_cast<Real>(kHardening), Real(1));
    }

    /// What the time that the pattern has been known says of a place, log-odds. Who was held dead once and freed may have been freed wrongly, or may
    /// fail again: its losses may be in the pattern.
    [[nodiscard]] Real by_history(std::size_t k) const noexcept {
        if (held_[k]) return kHeld;
        return ever_[k] ? Real(0) : -kHardened;
    }

    /// Log-odds of each place to be dead. A cylinder that dies or recovers later on does not change the pattern, for its firings
    /// stand out of it and are not learned: the longer the pattern is known, the less a finding changes.
    [[nodiscard]] std::array<Real, kMaxCylinders> prior_odds(const CylinderLife<Real>& life) const noexcept {
        std::array<Real, kMaxCylinders> odds{};
        for (int k = 0; k < orders().firings(); ++k)
            odds[static_cast<std::size_t>(k)] = died_[static_cast<std::size_t>(k)]
                                                    ? kDied
                                                    : hardened() * by_history(static_cast<std::size_t>(k)) - kRarely -
                                                          std::max(life.losses(k), Real(0));
        return odds;
    }

    /// What is added to each of those that are held because they were once found for sure: that they are dead, not that they are weak.
    [[nodiscard]] std::array<Real, kMaxCylinders> sure_odds() const noexcept {
        std::array<Real, kMaxCylinders> odds{};
        const auto held = static_cast<Real>(std::count(held_.begin(), held_.end(), true));
        for (std::size_t k = 0; k < odds.size(); ++k)
            if (held_[k] && !died_[k])
                odds[k] = hardened() * std::max(std::min(surest_, kMostSure) / held - kHeld, Real(0));
        return odds;
    }

    /// What is given back to each member of a set that lies evenly: it may be found late (who was found before needs no more for that). That none
    /// of them ever loses a work tells nothing, for most healthy cylinders never do.
    [[nodiscard]] std::array<Real, kMaxCylinders> even_odds() const noexcept {
        std::array<Real, kMaxCylinders> odds{};
        for (std::size_t k = 0; k < odds.size(); ++k)
            if (!held_[k] && !ever_[k]) odds[k] = hardened() * (kHardened - kHeld);
        return odds;
    }

    Real surest_ = 0;  // log-odds by which those that are held were ever found
    int examined_ = 0;
    int chosen_ = 0;
    Real others_add_ = 0;  // to the log-odds that the chosen surrounding gives, at the last thorough examination
    Set last_{};           // the last finding
    Set died_{};           // seen to
    Set held_{};           // the last one that was confirmed
    Set ever_{};           // that were dead at any time
    Patterns patterns_{};
};

}  // namespace kurbel
