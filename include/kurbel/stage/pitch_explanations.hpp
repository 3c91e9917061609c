// The wheel under all explanations of what the crank does that are worth following, mixed by how likely each is.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/stage/crank_view.hpp"
#include "kurbel/stage/crank_wobble.hpp"
#include "kurbel/stage/pitch_fit.hpp"

namespace kurbel {

/// A torsion frequency that is far off cannot be mended by small steps, nor a damper or a gear that is or is not there: the fit
/// begins from all of them, and the best are followed. They share what they say by their evidence (Bayesian model averaging).
class PitchExplanations {
  public:
    /// All must outlive it. As large as PitchFit.
    PitchExplanations(const CrankView& view, const CrankWobble& wobble, const PitchFit::Seen& seen) noexcept
        : fit_(view, wobble, seen), wheel_(view.wheel()) {}

    /// Looks for them under the wheel's prior of now.
    void begin() noexcept {
        found_.fill({});
        for (const bool has_ring : {false, true})
            for (const bool in_gear : {false, true})
                for (int i = 0; i < kModes; ++i) {
                    PitchFit::Found one;
                    one.kind = {has_ring, in_gear};
                    one.values[CrankWobble::mode] = kModeStep * (i - 0.5 * (kModes - 1));
                    consider(one);
                }
        // Most cranks do nearly what is described; some more of their own, some less, and of some all amounts are told wrongly.
        for (PitchFit::Found& one : found_) fit_.improve(one, kSteps);
        Founds usual = found_;
        std::sort(usual.begin(), usual.end(),
                  [](const auto& a, const auto& b) { return a.log_evidence > b.log_evidence; });
        for (const PitchFit::Doubt& doubt : kDoubts)
            for (std::size_t i = 0; i < kDoubted; ++i) {
                PitchFit::Found one = usual[i];
                one.doubt = doubt;
                consider(one);
            }
    }

    /// The wheel's error in each of its patterns, and its variance, under the prior of now.
    void mix(PitchFit::PerPattern& mean, PitchFit::PerPattern& variance) noexcept {
        mean.fill(0.0);
        variance.fill(0.0);
        double most = -1e300;
        double sum = 0.0;
        double best_before = kNever;
        for (const PitchFit::Found& one : found_) best_before = std::max(best_before, one.log_evidence);
        for (PitchFit::Found& one : found_) {
            if (!(one.log_evidence > best_before - kHopeless)) continue;  // NaN, too
            fit_.improve(one, kSteps);
            PitchFit::PerPattern own{};
            PitchFit::PerPattern own_variance{};
            if (!(one.log_evidence > kNever)) continue;  // NaN, too
            fit_.wheel(own, own_variance);
            const double best = std::max(most, one.log_evidence);
            const double old = std::exp(most - best);
            const double now = std::exp(one.log_evidence - best);
            most = best;
            sum = sum * old + now;
            for (int m = 0; m < wheel_; ++m) {
                mean[at(m)] = mean[at(m)] * old + now * own[at(m)];
                variance[at(m)] = variance[at(m)] * old + now * (own_variance[at(m)] + own[at(m)] * own[at(m)]);
            }
        }
        for (int m = 0; m < wheel_; ++m) {
            if (!(sum > 0.0)) {
                fit_.prior(m, mean[at(m)], variance[at(m)]);
                continue;
            }
            mean[at(m)] /= sum;
            variance[at(m)] = variance[at(m)] / sum - mean[at(m)] * mean[at(m)];
        }
    }

  private:
    static constexpr int kFounds = 6;         // that are followed
    static constexpr int kModes = 9;          // first torsion frequencies begun from
    static constexpr double kModeStep = 0.4;  // standard deviations
    static constexpr double kNever = -1e299;
    static constexpr std::array<PitchFit::Doubt, 4> kDoubts{{{0.02, 0.05}, {0.12, 0.3}, {1.0, 0.05}, {1.0, 1.0}}};
    static constexpr std::size_t kDoubted =
        2;                                     // explanations that are tried with more and with less of the crank's own
    static constexpr double kHopeless = 15.0;  // ln by which an explanation is worse than the best: a weight of 3e-7
    static constexpr int kFirstSteps = 3;
    static constexpr int kSteps = 4;
    using Founds = std::array<PitchFit::Found, kFounds>;

    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }

    /// Keeps it where it is better than the worst, and one alone of those that came to the same.
    void consider(PitchFit::Found one) noexcept {
        fit_.improve(one, kFirstSteps);
        PitchFit::Found* place = nullptr;
        for (PitchFit::Found& other : found_)
            if (same(one, other)) place = &other;
        if (place == nullptr)
            place = std::min_element(found_.begin(), found_.end(),
                                     [](const auto& a, const auto& b) { return a.log_evidence < b.log_evidence; });
        if (place->log_evidence < one.log_evidence) *place = one;
    }

    [[nodiscard]] static bool same(const PitchFit::Found& a, const PitchFit::Found& b) noexcept {
        return a.kind.has_ring == b.kind.has_ring && a.kind.in_gear == b.kind.in_gear &&
               a.doubt.course == b.doubt.course && a.doubt.amount == b.doubt.amount &&
               std::fabs(a.values[CrankWobble::mode] - b.values[CrankWobble::mode]) < 0.5 * kModeStep;
    }

    PitchFit fit_;
    int wheel_ = 0;
    Founds found_{};
};

}  // namespace kurbel
