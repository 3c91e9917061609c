// How likely it is that a firing has lost at least half of its work. By a misfire: what all learning is weighed by, and what verdicts
// heed where it is clear. By a burn that was weak by nature: what is told beside it, and heeded in doubt.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/failing_cylinders.hpp"
#include "kurbel/stage/failing_sets.hpp"
#include "kurbel/stage/healthy_scatter.hpp"
#include "kurbel/stage/misfire_size.hpp"
#include "kurbel/stage/normal.hpp"
#include "kurbel/stage/usual_engine.hpp"

namespace kurbel {

/// Posterior probability of a misfire by Bayes' rule. Densities of the lost share: of a healthy firing, Student's t bent as the
/// healthy scatter is, for its deviation differs from one operating point to the next and is known from few firings; of a
/// misfire, what MisfireSize says; of both, a little of anything, for no reading is beyond all doubt. Prior: the running
/// rate of this cylinder, and more where it seems to have begun to fail.
///
/// Where the last firings scattered more than usual, this one is taken to do so, too (conditional heteroscedasticity: Engle,
/// Econometrica 50:987-1007, 1982): the pattern that losses are measured by lags behind the pedal for all cylinders at once.
/// And the crank still rings after a misfire: healthy firings of the next cycle scatter more, the first one most. By how much,
/// each engine shows.
template <class Real>
class MisfireOdds {
  public:
    static constexpr int kNever = 1 << 20;

    /// One firing: its lost share, and the mean and deviation of healthy firings of its cylinder.
    struct Seen {
        int place = 0;
        bool dead = false;  ///< held to be dead
        Real lost = 0;
        Real mean = 0;
        Real deviation = 0;  ///< in this window
        Real healthy = 0;    ///< in usual ones
        bool sized = true;   ///< the expected work is known, not guessed
    };

    /// What the firings just before tell of the next one.
    struct Recent {
        int since = kNever;  ///< firings that passed since a misfire
        bool last_lost = false;
        Real unrest = 1;  ///< mean square of the last healthy deviates
    };
    [[nodiscard]] const Recent& recent() const noexcept { return recent_; }
    /// The stream goes on after those firings.
    void go_on_after(const Recent& recent) noexcept { recent_ = recent; }

    void begin(int firings) noexcept {
        firings_ = firings;
        rate_.fill({});
        failing_.begin();
        together_.begin();
        of_all_ = {0.0F, 0.0F, kFirstFirings * static_cast<float>(firings), false};
        echo_ = {Echo{kFirstEcho, Real(0)}, Echo{Real(0.5) * (Real(1) + kFirstEcho), Real(0)}};
        size_.begin();
        unrest_scale_ = Real(1);
        recent_ = {};
    }

    /// Probability of a misfire, 0 to 1. To be asked once of each firing, in order of time.
    [[nodiscard]] Real probability(const Seen& seen, const HealthyScatter<Real>& scatter) noexcept {
        recent_.since = recent_.last_lost ? 0 : std::min(recent_.since + 1, kNever);
        unrest_scale_ = std::sqrt(std::max(Real(1), Real(1) + recent_.unrest - kUsualUnrest));
        told_ = densities(seen, scatter);
        const Real probability = posterior(told_, prior(seen));
        // A dead cylinder's losses are in the pattern, with all that follows from them.
        recent_.last_lost = !seen.dead && probability > Real(0.5);
        if (!seen.dead) follow_unrest(seen, scatter, Real(1) - probability);
        return probability;
    }

    /// Probability of a misfire for the firing last asked of, from another likelihood ratio of "a misfire" over "healthy" (its logarithm).
    [[nodiscard]] Real probability_by(Real loss_ratio, const Seen& seen) const noexcept {
        const Real rate = prior(seen);
        return Real(1) / (Real(1) + (Real(1) - rate) / rate * std::exp(-loss_ratio));
    }

    /// The loss between `from` and `to` up to which the firing last asked of would be less likely a misfire than `probability`.
    [[nodiscard]] Real loss_at(Real probability, Seen seen, const HealthyScatter<Real>& scatter, Real from,
                               Real to) const noexcept {
        return where(probability, from, to, [&](Real lost) {
            seen.lost = lost;
            return posterior(densities(seen, scatter), prior(seen));
        });
    }
    /// The same for a loss of most of its work.
    [[nodiscard]] Real most_lost_at(Real probability, const Seen& seen, const HealthyScatter<Real>& scatter, Real from,
                                    Real to) const noexcept {
        return where(probability, from, to, [&](Real lost) { return most_lost(lost, seen, scatter); });
    }

    /// Probability that the firing last asked of is a misfire, if they are no rarer than `least_rate`.
    [[nodiscard]] Real suspicion(const Seen& seen, Real least_rate) const noexcept {
        return posterior(told_, std::max(prior(seen), least_rate));
    }

    /// Logarithm of the likelihood ratio of "a misfire" over "healthy" for the firing last asked of, had it lost `lost`.
    [[nodiscard]] Real loss_ratio(Real lost, Seen seen, const HealthyScatter<Real>& scatter) const noexcept {
        const bool as_seen = lost == seen.lost;
        seen.lost = lost;
        const Real even = posterior(as_seen ? told_ : densities(seen, scatter), Real(0.5));
        return std::log(even / (Real(1) - even));
    }

    /// Deviation of a healthy firing in the window last asked of, as the last ones tell.
    [[nodiscard]] Real deviation_now(const Seen& seen) const noexcept { return seen.deviation * scale(); }

    /// Probability that the firing last asked of, if it did not misfire, lost at least half of its work all the same: combustion that
    /// scatters much leaves as little now and then. What it truly lost is the reading less what measurement is expected to have added
    /// to it, which the slope of the density of normal readings tells (Tweedie's formula: Efron, JASA 106:1602-1614, 2011, from
    /// memory). Where readings of half are more common than normal deviates of combustion would be, some have another cause; no fewer
    /// of the larger ones are held to be weak burns, so that who reads as more has not lost less likely.
    [[nodiscard]] Real weak_burn(const Seen& seen, const HealthyScatter<Real>& scatter) const noexcept {
        return weaker_than(size_.weak_half(), seen, scatter);
    }

    /// Probability that the firing last asked of would have lost most of its work, 60 % or more, by a misfire or by nature, had it lost `lost`.
    [[nodiscard]] Real most_lost(Real lost, Seen seen, const HealthyScatter<Real>& scatter) const noexcept {
        seen.lost = lost;
        const Real misfire = posterior(densities(seen, scatter), prior(seen));
        return misfire + (Real(1) - misfire) * weaker_than(size_.weak_most(), seen, scatter);
    }

    /// Whether a cylinder rather belongs to a set that fails than not, so that its next firing is expected to lose all of its work.
    [[nodiscard]] bool fails_with_others(int place) const noexcept {
        return together_.failing(place, firings_) > Real(0.5);
    }

    /// Whether misfires have shown what they read as on this engine.
    [[nodiscard]] bool size_known() const noexcept { return size_.known(); }

    /// The least that half of the work lost may read as on this engine; near `guess` while that is not known.
    [[nodiscard]] Real half_lost(Real guess) const noexcept { return size_.half(guess); }

    /// The share of the firings seen of this place that lost their work, if one more had not.
    [[nodiscard]] Real shown_rate(int place) const noexcept {
        const Rate& rate = rate_[static_cast<std::size_t>(place)];
        return static_cast<Real>(rate.seen * rate.share / (rate.seen + 1.0F));
    }

    /// Of the first firings of a place so many seem to have lost their work.
    void expect_rate(int place, int lost, int firings) noexcept {
        if (firings <= 0) return;
        rate_[static_cast<std::size_t>(place)] = {};
        rate_[static_cast<std::size_t>(place)].take(lost, firings);
        of_all_.take(lost, firings);
    }

    /// What else may have pushed the crank in a firing.
    struct Doubt {
        bool of_one = false;      ///< several times in a row, in firings of the same cylinder
        bool of_several = false;  ///< the same in those of several cylinders
        Real loss_ratio = std::numeric_limits<Real>::infinity();  ///< see FiringWork
    };

    /// Learns from the firing last asked of, a misfire with this probability.
    void learn(const Seen& seen, const HealthyScatter<Real>& scatter, Real probability, const Doubt& doubt) noexcept {
        learn_echo(seen, scatter, Real(1) - probability);
        follow_failing(seen, doubt);
        if (probability > kRarest && !seen.dead) size_.learn(seen.lost, error_of(seen), probability);
        Rate& rate = rate_[static_cast<std::size_t>(seen.place)];
        if (seen.dead != rate.dead) rate = {0.0F, 0.0F, kFirstFirings, seen.dead};
        rate.learn(static_cast<float>(probability), kMemory);
        if (!seen.dead) of_all_.learn(static_cast<float>(probability), kMemory * static_cast<float>(firings_));
    }

  private:
    // What a cylinder does that someone has reason to look at; and how many firings that is worth.
    static constexpr Real kFirstRate = Real(kUsualMisfireRate);
    static constexpr Real kDeadRate = Real(0.5);
    static constexpr Real kRarest = Real(1e-4);
    // Deviation of what a whole loss reads as whose size nobody told, as a share of it (engineering range, from memory).
    static constexpr Real kGuess = Real(0.4);
    static constexpr float kFirstFirings = 40.0F;
    static constexpr float kMemory = 200.0F;
    static constexpr float kKnown = 64.0F;          // firings
    static constexpr Real kBeyondDoubt = Real(30);  // log-likelihood ratio
    // Degrees of freedom: deviations that differ by an eighth, one over the root of twice as many, from window to window.
    static constexpr Real kFreedom = Real(30);
    static constexpr Real kPeak = Real(0.395632);   // Gamma(15.5) / (Gamma(15) root(30 pi))
    static constexpr Real kLeastLeft = Real(0.05);  // of the scatter, what combustion surely has
    // Gains of eight deviations, which no misfire makes, are about as rare: a window that holds a lost edge, a clutch, a stone.
    static constexpr Real kStray = Real(1e-5);
    static constexpr Real kAnything = Real(1) / Real(3);  // density where any share from -1 to 2 is alike
    // Misfires that had taught the pattern they are measured by read as less than they are.
    static constexpr Real kMisread = Real(1e-4);
    static constexpr Real kMostLost = Real(1.2);
    // A mean of a dozen squares; that of normal deviates lies above one and a half once in ten times.
    static constexpr Real kUnrestFirings = Real(12);
    static constexpr Real kUsualUnrest = Real(1.5);
    static constexpr Real kLargestSquare = Real(25);
    static constexpr Real kFirstEcho = Real(1.15);
    static constexpr Real kEchoFirings = Real(30);
    static constexpr Real kEchoMemory = Real(300);

    /// Running share of misfires: what was seen, and what is expected before, worth `expects` firings until that is forgotten, too.
    struct Rate {
        float share = 0;  ///< of the firings seen
        float seen = 0;
        float expects = kFirstFirings;
        bool dead = false;

        void learn(float probability, float memory) noexcept {
            if (seen >= memory) expects *= 1.0F - 1.0F / memory;
            seen = std::min(seen + 1.0F, memory);
            share += (probability - share) / seen;
        }
        void take(int lost, int firings) noexcept {
            seen += static_cast<float>(firings);
            share += (static_cast<float>(lost) - share * static_cast<float>(firings)) / seen;
        }
        [[nodiscard]] Real after(Real expected) const noexcept {
            return (static_cast<Real>(seen * share) + static_cast<Real>(expects) * expected) /
                   static_cast<Real>(seen + expects);
        }
    };
    /// How many times as wide healthy firings scatter after a misfire.
    struct Echo {
        Real scale = 1;
        Real seen = 0;
    };

    /// Of one lost share, where the firing is healthy and where it is a misfire.
    struct Densities {
        Real healthy = 1;
        Real misfire = 0;
    };

    /// Probability that a cylinder fails, alone or with others.
    [[nodiscard]] Real failing(int place) const noexcept {
        return std::max(failing_.failing(place), together_.failing(place, firings_));
    }

    [[nodiscard]] Real prior(const Seen& seen) const noexcept {
        const Real usual = usual_rate(seen);
        return seen.dead
                   ? usual
                   : std::clamp(FailingCylinders<Real>::rate(failing(seen.place), usual), kRarest, Real(1) - kRarest);
    }

    [[nodiscard]] Real usual_rate(const Seen& seen) const noexcept {
        const Rate& rate = rate_[static_cast<std::size_t>(seen.place)];
        // Cylinders share fuel, air and warmth, so that what all of them do is what one is expected to do (empirical Bayes: Efron and
        // Morris, JASA 70:311-319, 1975, from memory).
        const Real expected = seen.dead ? kDeadRate : of_all_.after(kFirstRate);
        const Real share = rate.dead == seen.dead ? rate.after(expected) : expected;
        return std::clamp(share, kRarest, Real(1) - kRarest);
    }

    [[nodiscard]] Densities densities(const Seen& seen, const HealthyScatter<Real>& scatter) const noexcept {
        const Real spread = deviation_now(seen);
        return {any_healthy_density(seen, spread, scatter),
                (Real(1) - kMisread) * size_.density(seen.lost, error_of(seen)) +
                    kMisread * density_of_range(seen.lost, Real(0), kMostLost, spread)};
    }

    /// Where between `from` and `to` something that rises reaches `wanted`.
    template <class Rising>
    [[nodiscard]] static Real where(Real wanted, Real from, Real to, Rising rising) noexcept {
        for (int halving = 0; halving < 16; ++halving) {
            const Real middle = Real(0.5) * (from + to);
            (rising(middle) < wanted ? from : to) = middle;
        }
        return from;
    }

    [[nodiscard]] typename MisfireSize<Real>::Error error_of(const Seen& seen) const noexcept {
        return {seen.healthy, deviation_now(seen), seen.sized ? Real(0) : kGuess};
    }

    [[nodiscard]] static Real posterior(const Densities& at, Real rate) noexcept {
        return rate * at.misfire / (rate * at.misfire + (Real(1) - rate) * at.healthy);
    }

    [[nodiscard]] static Real any_healthy_density(const Seen& seen, Real spread,
                                                  const HealthyScatter<Real>& scatter) noexcept {
        return (Real(1) - kStray) * healthy_density(seen, spread, scatter) + kStray * kAnything;
    }
    [[nodiscard]] static Real healthy_density(const Seen& seen, Real spread,
                                              const HealthyScatter<Real>& scatter) noexcept {
        const auto normal = scatter.normal_at((seen.lost - seen.mean) / spread);
        // (1 + x^2 / 30)^-15.5, by squaring.
        static_assert(kFreedom == Real(30));
        const Real wide = Real(1) + normal.deviate * normal.deviate / kFreedom;
        const Real two = wide * wide;
        const Real four = two * two;
        const Real eight = four * four;
        return kPeak * normal.slope / (eight * four * two * wide * std::sqrt(wide) * spread);
    }

    /// Probability that a burn was weaker than one that lost `loss`, see weak_burn.
    [[nodiscard]] Real weaker_than(const typename MisfireSize<Real>::WeakLoss& loss, Seen seen,
                                   const HealthyScatter<Real>& scatter) const noexcept {
        // No burn loses more than all; what reads as more says no more of it.
        seen.lost = std::min(seen.lost, size_.size());
        const Real spread = deviation_now(seen);
        const auto here = scatter.normal_at((seen.lost - seen.mean) / spread);
        if (!(here.deviate > Real(1))) return Real(0);
        const Real measured = size_.measured_variance(error_of(seen));
        const Real left = std::max(Real(1) - measured / (spread * spread), kLeastLeft);
        const Real beyond = seen.lost - measured * here.deviate * here.slope / spread - loss.reads;
        seen.lost = std::min(seen.lost, std::max(loss.reads, seen.mean));
        return of_combustion(seen, spread, scatter) * Real(0.5) *
               std::erfc(beyond * Real(-kRootOfHalf) / std::sqrt(measured * left + loss.error * loss.error));
    }

    /// Share of the healthy readings of this size that normal deviates of combustion explain.
    [[nodiscard]] static Real of_combustion(const Seen& seen, Real spread,
                                            const HealthyScatter<Real>& scatter) noexcept {
        const auto normal = scatter.normal_at((seen.lost - seen.mean) / spread);
        const Real density =
            Real(kNormalPeak) * std::exp(Real(-0.5) * normal.deviate * normal.deviate) * normal.slope / spread;
        return std::min(density / any_healthy_density(seen, spread, scatter), Real(1));
    }

    /// 0: the firing right after a misfire, 1: others within a cycle of one, -1: none of them.
    [[nodiscard]] int after() const noexcept { return recent_.since == 0 ? 0 : (recent_.since < firings_ ? 1 : -1); }
    [[nodiscard]] Real echo_scale() const noexcept {
        return after() < 0 ? Real(1) : echo_[static_cast<std::size_t>(after())].scale;
    }

    [[nodiscard]] Real scale() const noexcept { return echo_scale() * unrest_scale_; }

    void follow_unrest(const Seen& seen, const HealthyScatter<Real>& scatter, Real weight) noexcept {
        const Real x = scatter.as_normal((seen.lost - seen.mean) / seen.deviation) / echo_scale();
        recent_.unrest += weight * (std::min(x * x, kLargestSquare) - recent_.unrest) / kUnrestFirings;
    }

    /// As long as the pattern of a cylinder is young it may be off for it, and that reads alike in all of its firings.
    void follow_failing(const Seen& seen, const Doubt& doubt) noexcept {
        if (seen.dead || rate_[static_cast<std::size_t>(seen.place)].seen < kKnown) return failing_.forget(seen.place);
        const Real usual = usual_rate(seen);
        const Real ratio = told_.misfire / told_.healthy;
        const auto unless = [ratio](bool doubtful) { return doubtful ? std::min(ratio, Real(1)) : ratio; };
        // Who fails alone is none of a set.
        const Real alone = FailingCylinders<Real>::rate(failing_.failing(seen.place), usual);
        failing_.follow(seen.place, unless(doubt.of_one), usual);
        // Where nobody told the work, whoever reads as little need not have lost it.
        const Real whole = seen.sized ? size_.size() : std::max(size_.size(), Real(1));
        const Real share = (seen.lost - seen.mean) / whole;
        const Real second_look = doubt.loss_ratio < kBeyondDoubt ? std::exp(doubt.loss_ratio) : ratio;
        together_.follow(seen.place, firings_, share, std::min(unless(doubt.of_several), second_look), alone);
        together_.follow_others(share, Real(1) / (Real(1) + ratio));
    }

    void learn_echo(const Seen& seen, const HealthyScatter<Real>& scatter, Real weight) noexcept {
        if (seen.dead || after() < 0) return;
        Echo& echo = echo_[static_cast<std::size_t>(after())];
        echo.seen = std::min(echo.seen + weight, kEchoMemory);
        const Real off = std::fabs(scatter.as_normal((seen.lost - seen.mean) / seen.deviation));
        const Real step = median_pull(off, echo.scale) * weight / (echo.seen + kEchoFirings);
        echo.scale = std::max(echo.scale * (Real(1) + step), Real(1));
    }

    int firings_ = 1;
    Recent recent_{};
    Real unrest_scale_ = 1;
    Densities told_{};  ///< of the firing last asked of
    MisfireSize<Real> size_{};
    std::array<Rate, kMaxCylinders> rate_{};
    Rate of_all_{};  // that are not dead
    FailingCylinders<Real> failing_{};
    FailingSets<Real> together_{};
    std::array<Echo, 2> echo_{};
};

}  // namespace kurbel
