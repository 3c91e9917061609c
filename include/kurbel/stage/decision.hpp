// From the share of lost work to a verdict with a stated false-alarm chance.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/stage/firing_work.hpp"

namespace kurbel {

/// Deviate that a standard normal variable exceeds with chance `chance` (0 to 0.5): rational approximation, error below
/// 4.5e-4 (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.23).
template <class Real>
[[nodiscard]] Real normal_quantile(Real chance) noexcept {
    const Real t = std::sqrt(Real(-2) * std::log(chance));
    return t - (Real(2.515517) + t * (Real(0.802853) + t * Real(0.010328))) /
                   (Real(1) + t * (Real(1.432788) + t * (Real(0.189269) + t * Real(0.001308))));
}

/// Healthy scatter of the lost share per place in the firing order, learned from firings weighted by their probability of
/// being healthy. The loss-side tail beyond two standard deviations is a normal tail, stretched so that the share of firings
/// beyond and their mean excess are the observed ones (peaks over threshold as in Coles, An Introduction to Statistical
/// Modeling of Extreme Values, 2001, ch. 4, with a stretched normal in place of the generalised Pareto tail, which a few
/// hundred firings cannot fix).
template <class Real>
class HealthyScatter {
  public:
    void begin(int firings) noexcept {
        firings_ = firings;
        mean_.fill(0);
        // Before anything is known: scatter of 15 %, the weight of ten firings.
        deviation_.fill(kPriorDeviation);
        count_.fill(0);
        common_deviation_ = kPriorDeviation;
        common_count_ = 0;
        excess_ = kPriorExcess;
        share_beyond_ = kPriorShare;
        tail_count_ = 0;
        stretch();
    }

    /// `known_variance`: part of the scatter that has another cause and is accounted for elsewhere. `weight`: probability that
    /// the firing was healthy.
    void learn(int place, Real lost, Real known_variance, Real weight) noexcept {
        const auto k = static_cast<std::size_t>(place);
        const auto with_known = [known_variance](Real deviation) {
            return std::sqrt(deviation * deviation + known_variance);
        };
        const Real z = (lost - mean_[k]) / with_known(deviation(place));
        common_count_ = std::min(common_count_ + weight, kMemory * Real(firings_));
        count_[k] = std::min(count_[k] + weight, kMemory);
        // Medians by stochastic approximation (Robbins and Monro, 1951) with the gain that is best for a normal distribution:
        // misfires that were taken for healthy, even one in eight, hardly move them.
        const Real own = weight / (count_[k] + Real(20));
        mean_[k] += Real(1.25) * own * deviation(place) * side(z);
        deviation_[k] +=
            Real(1.17) * own * deviation_[k] * side(std::fabs(lost - mean_[k]) - kMedian * with_known(deviation_[k]));
        common_deviation_ += Real(1.17) * weight / (common_count_ + Real(20)) * common_deviation_ *
                             side(std::fabs(lost - mean_[k]) - kMedian * with_known(common_deviation_));
        share_beyond_ += weight * ((z > kTailBegins ? Real(1) : Real(0)) - share_beyond_) / (common_count_ + Real(400));
        if (z > kTailBegins) {
            tail_count_ = std::min(tail_count_ + weight, Real(300));
            excess_ += weight * (std::min(z - kTailBegins, kLargestExcess) - excess_) / (tail_count_ + Real(30));
        }
        if (++learned_ % kFitEvery == 0) stretch();
    }

    [[nodiscard]] Real count(int place) const noexcept { return count_[static_cast<std::size_t>(place)]; }
    [[nodiscard]] Real mean(int place) const noexcept { return mean_[static_cast<std::size_t>(place)]; }

    /// Standard deviation of this place (from the median of absolute deviations), drawn towards the common one while few
    /// firings are known.
    [[nodiscard]] Real deviation(int place) const noexcept {
        const auto k = static_cast<std::size_t>(place);
        const Real trust = count_[k] / (count_[k] + Real(30));
        const Real learned = trust * deviation_[k] + (Real(1) - trust) * common_deviation_;
        // A cylinder that scatters by far more than the others has more than scatter.
        return std::max(std::min(learned, Real(1.5) * common_deviation_), Real(0.02));
    }

    /// Healthy standard deviations that a healthy firing exceeds with chance `chance`; `normal`: those of a normal distribution.
    [[nodiscard]] Real quantile(Real normal) const noexcept {
        return kTailBegins + stretch_ * std::max(normal - equal_begin_, Real(0));
    }

    /// The normal deviate that is as rare as z healthy standard deviations are here.
    [[nodiscard]] Real as_normal(Real z) const noexcept {
        // Nothing below the tail is rarer than its beginning.
        return z > kTailBegins ? equal_begin_ + (z - kTailBegins) / stretch_ : std::min(z, equal_begin_);
    }

  private:
    static constexpr Real kLargestExcess = Real(1.5);
    static constexpr Real kMemory = Real(1000);
    static constexpr unsigned kFitEvery = 8;  // the tail moves slowly, and fitting it costs more than all the rest
    static constexpr Real kPriorDeviation = Real(0.15);
    static constexpr Real kMedian = Real(0.6745);  // of the absolute value of a standard normal variable
    static constexpr Real kTailBegins = Real(2);
    static constexpr Real kPriorShare = Real(0.02275);  // of a normal distribution beyond 2
    static constexpr Real kPriorExcess = Real(0.373);   // its mean beyond 2, less 2

    [[nodiscard]] static constexpr Real side(Real x) noexcept {
        return x > Real(0) ? Real(1) : (x < Real(0) ? Real(-1) : Real(0));
    }

    /// Fits the stretched tail to the observed share and excess.
    void stretch() noexcept {
        const Real share = std::clamp(share_beyond_, Real(0.005), Real(0.15));
        equal_begin_ = normal_quantile(share);
        // Mean excess of a normal distribution beyond u: density over share, less u.
        const Real density = Real(0.398942) * std::exp(Real(-0.5) * equal_begin_ * equal_begin_);
        stretch_ = std::clamp(excess_ / (density / share - equal_begin_), Real(0.8), Real(1.6));
    }

    int firings_ = 1;
    unsigned learned_ = 0;
    Real common_deviation_ = kPriorDeviation;
    Real common_count_ = 0;
    Real tail_count_ = 0;
    Real excess_ = kPriorExcess;
    Real share_beyond_ = kPriorShare;
    Real equal_begin_ = kTailBegins;
    Real stretch_ = 1;
    std::array<Real, kMaxCylinders> mean_{};
    std::array<Real, kMaxCylinders> deviation_{};
    std::array<Real, kMaxCylinders> count_{};
};

/// Verdict of one firing.
template <class Real>
struct Judgement {
    Verdict verdict = Verdict::unjudged;
    Reason reason = Reason::none;
    Real severity = 0;
    Real evidence = 0;
    Real threshold = 0;
    Real probability = 0;
    Feedback<Real> feedback{};
};

/// Judges firings and learns the healthy scatter from them.
template <class Real>
class Decision {
  public:
    using Limits = std::array<Real, kMaxCylinders>;

    void configure(const Config& config) noexcept {
        firings_ = config.engine.cylinders;
        normal_limit_ = normal_quantile(static_cast<Real>(config.settings.false_alarm));
        reset();
    }

    void reset() noexcept {
        scatter_.begin(firings_);
        rate_.fill(kRarest);
        running_ = false;
        update_limits();
    }

    /// Lost share above which a firing of each place is a misfire.
    [[nodiscard]] const Limits& limits() const noexcept { return limits_; }

    /// `learning`: the estimator does not know the engine yet; `young`: it knows less than it will soon.
    [[nodiscard]] Judgement<Real> judge(const FiringWork<Real>& firing, bool learning, bool young,
                                        bool phase_missing) noexcept {
        Judgement<Real> j;
        j.reason = obstacle(firing, phase_missing);
        if (!firing.complete) return j;
        const Real healthy = scatter_.deviation(firing.place);
        const Real sd = std::sqrt(healthy * healthy + firing.known_variance);
        const Real mean = scatter_.mean(firing.place);
        j.severity = firing.lost + firing.offset;
        j.evidence = (firing.lost - mean) / sd;
        const Real least = least_loss(firing.sized);
        j.threshold = std::max(scatter_.quantile(normal_limit_), (least - mean) / sd);
        const Real gain = misfire_gain(firing, sd);
        j.probability = posterior(firing, gain, kRarest);
        if (j.reason != Reason::none) return j;
        const bool beyond = j.evidence > j.threshold;
        j.feedback = {beyond, !firing.mixed, j.probability};
        if (learning) {
            j.reason = Reason::learning;
            return j;
        }
        j.verdict = beyond ? Verdict::misfire : Verdict::fired;
        // Where even a whole combustion lost would stay below the limit, "fired" would be a guess.
        if (!beyond && mean + j.threshold * sd > kWhole) {
            j.verdict = Verdict::unjudged;
            j.reason = young ? Reason::learning : Reason::low_torque;
        }
        if (!firing.mixed)
            follow(firing, j.probability,
                   posterior(firing, gain, Real(1) / (scatter_.count(firing.place) + kSuspicion)));
        return j;
    }

  private:
    static constexpr Real kLeastLoss = Real(0.4);  // nearer to "all lost" than to "nothing lost", with room for scatter
    static constexpr Real kLeastGuess = Real(0.15);  // where the expected work itself is a guess
    static constexpr Real kWhole = Real(1.3);
    static constexpr Real kRarest = Real(1e-4);
    // What is learned as healthy is chosen with more suspicion, for some firings too few matter less than misfires among them:
    // as if one of this many firings before the first had been a misfire.
    static constexpr Real kSuspicion = Real(50);
    static constexpr Real kRunning_rpm = Real(450);  // common practice, no source: idle lies above, starters stay below
    static constexpr Real kStalled_rpm = Real(250);

    [[nodiscard]] Reason obstacle(const FiringWork<Real>& firing, bool phase_missing) noexcept {
        running_ = running_ ? firing.speed_rpm > kStalled_rpm : firing.speed_rpm > kRunning_rpm;
        if (!running_) return Reason::cranking;
        if (firing.cut) return Reason::fuel_cut;
        if (phase_missing) return Reason::no_phase;
        if (!firing.complete) return Reason::no_sync;
        if (firing.changing) return Reason::transient;
        return Reason::none;
    }

    /// Log-likelihood of "at least half of the work is missing" over "healthy": a healthy firing scatters as learned; one that lost
    /// half or more may have lost any share from a half to a little over all, blurred by the same scatter.
    [[nodiscard]] Real misfire_gain(const FiringWork<Real>& firing, Real sd) const noexcept {
        constexpr Real kHalf = Real(0.5);
        constexpr Real kRange = Real(0.7);
        constexpr Real kRootTwoPi = Real(2.506628);
        const Real from_healthy = scatter_.as_normal((firing.lost - scatter_.mean(firing.place)) / sd);
        const Real from_misfire = std::min(firing.lost - kHalf, Real(0)) / sd;
        return Real(0.5) * (from_healthy * std::fabs(from_healthy) - from_misfire * from_misfire) +
               std::log(std::min(sd * kRootTwoPi / kRange, Real(1)));
    }

    /// Posterior probability of it. Prior: this cylinder's running rate, at least `least_prior`.
    [[nodiscard]] Real posterior(const FiringWork<Real>& firing, Real gain, Real least_prior) const noexcept {
        const Real prior =
            std::max(rate_[static_cast<std::size_t>(firing.place)], firing.dead ? Real(0.5) : least_prior);
        const Real odds = std::log(prior / (Real(1) - prior)) + gain;
        return odds > Real(40) ? Real(1) : Real(1) / (Real(1) + std::exp(-odds));
    }

    /// The rate follows the probabilities, not the verdicts: many firings that are each a little doubtful betray a cylinder
    /// that misfires at the edge of what can be seen (expectation-maximisation of a two-part mixture).
    void follow(const FiringWork<Real>& firing, Real probability, Real suspicion) noexcept {
        const auto k = static_cast<std::size_t>(firing.place);
        sized_ = firing.sized;
        rate_[k] += (probability - rate_[k]) / Real(200);
        if (!firing.dead) scatter_.learn(firing.place, firing.lost, firing.known_variance, Real(1) - suspicion);
        update_limit(firing.place);
    }

    [[nodiscard]] static Real least_loss(bool sized) noexcept { return sized ? kLeastLoss : kLeastGuess; }

    void update_limits() noexcept {
        for (int k = 0; k < firings_; ++k) update_limit(k);
    }

    void update_limit(int place) noexcept {
        limits_[static_cast<std::size_t>(place)] = std::max(
            least_loss(sized_), scatter_.mean(place) + scatter_.quantile(normal_limit_) * scatter_.deviation(place));
    }

    int firings_ = 0;
    bool running_ = false;
    bool sized_ = true;
    Real normal_limit_ = Real(4.1);
    HealthyScatter<Real> scatter_{};
    Limits limits_{};
    std::array<Real, kMaxCylinders> rate_{};
};

}  // namespace kurbel
