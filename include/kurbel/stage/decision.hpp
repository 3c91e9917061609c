// From the share of lost work to a verdict with a stated false-alarm chance.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/stage/work_estimator.hpp"

namespace kurbel {

/// Healthy scatter of the lost share per place in the firing order, learned from firings that were not called misfires,
/// and the shape of its loss-side tail: beyond 1.5 standard deviations the excess is taken as exponential
/// (peaks over threshold; Coles, An Introduction to Statistical Modeling of Extreme Values, 2001, ch. 4, shape 0).
template <class Real>
class HealthyScatter {
  public:
    void begin(int firings) noexcept {
        firings_ = firings;
        mean_.fill(0);
        // Before anything is known: scatter of 15 %, the weight of ten firings.
        variance_.fill(kPriorVariance);
        count_.fill(0);
        common_variance_ = kPriorVariance;
        common_count_ = 0;
        excess_ = kPriorExcess;
        share_beyond_ = kPriorShare;
    }

    void learn(int place, Real lost) noexcept {
        const auto k = static_cast<std::size_t>(place);
        const Real z = (lost - mean_[k]) / deviation(place);
        const Real memory = Real(1000);
        common_count_ = std::min(common_count_ + Real(1), memory * Real(firings_));
        count_[k] = std::min(count_[k] + Real(1), memory);
        const Real step = lost - mean_[k];
        mean_[k] += step / (count_[k] + Real(10));
        const Real square = step * (lost - mean_[k]);
        variance_[k] += (square - variance_[k]) / (count_[k] + Real(20));
        common_variance_ += (square - common_variance_) / (common_count_ + Real(20));
        const Real beyond = z > kTailBegins ? Real(1) : Real(0);
        share_beyond_ += (beyond - share_beyond_) / (common_count_ + Real(200));
        if (z > kTailBegins) {
            tail_count_ = std::min(tail_count_ + Real(1), Real(500));
            excess_ += (z - kTailBegins - excess_) / (tail_count_ + Real(20));
        }
    }

    [[nodiscard]] Real mean(int place) const noexcept { return mean_[static_cast<std::size_t>(place)]; }

    /// Standard deviation of this place, drawn towards the common one while few firings are known.
    [[nodiscard]] Real deviation(int place) const noexcept {
        const auto k = static_cast<std::size_t>(place);
        const Real trust = count_[k] / (count_[k] + Real(30));
        return std::sqrt(std::max(trust * variance_[k] + (Real(1) - trust) * common_variance_, Real(1e-6)));
    }

    /// Healthy standard deviations that a healthy firing exceeds with chance `chance`.
    [[nodiscard]] Real quantile(Real chance) const noexcept {
        return kTailBegins + excess_ * std::max(std::log(share_beyond_ / chance), Real(0));
    }

  private:
    static constexpr Real kPriorVariance = Real(0.0225);
    static constexpr Real kTailBegins = Real(1.5);
    static constexpr Real kPriorShare = Real(0.0668);  // of a normal distribution
    static constexpr Real kPriorExcess = Real(0.44);   // mean of a normal distribution beyond 1.5, less 1.5

    int firings_ = 1;
    Real common_variance_ = kPriorVariance;
    Real common_count_ = 0;
    Real tail_count_ = 0;
    Real excess_ = kPriorExcess;
    Real share_beyond_ = kPriorShare;
    std::array<Real, kMaxCylinders> mean_{};
    std::array<Real, kMaxCylinders> variance_{};
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
    Feedback feedback{};
};

/// Judges firings and learns the healthy scatter from them.
template <class Real>
class Decision {
  public:
    using Limits = typename WorkEstimator<Real>::Limits;

    void configure(const Config& config) noexcept {
        firings_ = config.engine.cylinders;
        false_alarm_ = static_cast<Real>(config.settings.false_alarm);
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

    /// `learning`: the estimator does not know the engine yet.
    [[nodiscard]] Judgement<Real> judge(const FiringWork<Real>& firing, bool learning, bool phase_missing) noexcept {
        Judgement<Real> j;
        j.reason = obstacle(firing, phase_missing);
        if (!firing.complete) return j;
        const Real healthy = scatter_.deviation(firing.place);
        const Real sd = std::sqrt(healthy * healthy + firing.pattern_variance);
        const Real mean = scatter_.mean(firing.place);
        j.severity = firing.lost + firing.offset;
        j.evidence = (firing.lost - mean) / sd;
        j.threshold = std::max(scatter_.quantile(false_alarm_), (kLeastLoss - mean) / sd);
        j.probability = probability(firing, sd);
        if (j.reason != Reason::none) return j;
        const bool beyond = j.evidence > j.threshold;
        if (learning) {
            j.reason = Reason::learning;
            j.feedback.learn = !beyond;
            j.feedback.misfire = beyond;
            return j;
        }
        j.verdict = beyond ? Verdict::misfire : Verdict::fired;
        // Where even a whole combustion lost would stay below the limit, "fired" would be a guess.
        if (!beyond && mean + j.threshold * sd > kWhole) {
            j.verdict = Verdict::unjudged;
            j.reason = Reason::low_torque;
        }
        j.feedback.misfire = beyond;
        j.feedback.learn = !beyond;
        follow(firing, beyond);
        return j;
    }

  private:
    static constexpr Real kLeastLoss = Real(0.4);  // nearer to "all lost" than to "nothing lost", with room for scatter
    static constexpr Real kWhole = Real(1.3);
    static constexpr Real kRarest = Real(1e-4);
    static constexpr Real kRunning_rpm = Real(450);  // common practice, no source: idle lies above, starters stay below
    static constexpr Real kStalled_rpm = Real(250);

    [[nodiscard]] Reason obstacle(const FiringWork<Real>& firing, bool phase_missing) noexcept {
        running_ = running_ ? firing.speed_rpm > kStalled_rpm : firing.speed_rpm > kRunning_rpm;
        if (!running_) return Reason::cranking;
        if (firing.cut) return Reason::fuel_cut;
        if (phase_missing) return Reason::no_phase;
        if (!firing.complete) return Reason::no_sync;
        return Reason::none;
    }

    /// Posterior that at least half of the work is missing: two normal distributions, healthy around the mean, misfire
    /// around one with the same measurement scatter; prior: this cylinder's running rate.
    [[nodiscard]] Real probability(const FiringWork<Real>& firing, Real sd) const noexcept {
        const auto k = static_cast<std::size_t>(firing.place);
        const Real prior = std::max(rate_[k], kRarest);
        const Real from_healthy = (firing.lost - scatter_.mean(firing.place)) / sd;
        const Real from_misfire = std::min(firing.lost - Real(1), Real(0)) / std::max(sd, Real(0.15));
        const Real gain = Real(0.5) * (from_healthy * std::fabs(from_healthy) - from_misfire * from_misfire);
        const Real odds = std::log(prior / (Real(1) - prior)) + gain;
        return odds > Real(40) ? Real(1) : Real(1) / (Real(1) + std::exp(-odds));
    }

    void follow(const FiringWork<Real>& firing, bool misfire) noexcept {
        const auto k = static_cast<std::size_t>(firing.place);
        rate_[k] += ((misfire ? Real(1) : Real(0)) - rate_[k]) / Real(200);
        if (!misfire) scatter_.learn(firing.place, firing.lost);
        update_limit(firing.place);
    }

    void update_limits() noexcept {
        for (int k = 0; k < firings_; ++k) update_limit(k);
    }

    void update_limit(int place) noexcept {
        limits_[static_cast<std::size_t>(place)] =
            std::max(kLeastLoss, scatter_.mean(place) + scatter_.quantile(false_alarm_) * scatter_.deviation(place));
    }

    int firings_ = 0;
    bool running_ = false;
    Real false_alarm_ = Real(2e-5);
    HealthyScatter<Real> scatter_{};
    Limits limits_{};
    std::array<Real, kMaxCylinders> rate_{};
};

}  // namespace kurbel
