// How one lost combustion of each cylinder shows in the window: physics first, then what this engine teaches.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/crank_ringing.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/matched_filters.hpp"
#include "kurbel/stage/mode_tuning.hpp"
#include "kurbel/stage/response_evidence.hpp"
#include "kurbel/stage/response_kinds.hpp"
#include "kurbel/stage/wheel_view.hpp"
#include "kurbel/stage/window.hpp"
#include "kurbel/stage/window_covariance.hpp"

namespace kurbel {

/// Responses per place in the firing order. Of the kinds that physics knows (ResponseKinds) the one that best explains what looks like
/// misfires is used, refined by the mean deviation of firings that were called misfires.
///
/// Responses reach further than the window that is judged, kMaxResponse bins: a crank that rings on after a misfire must not
/// show up as another one.
class ResponseBank {
  public:
    using Real = float;
    static constexpr int kMaxResponse = ResponseKinds::kMaxResponse;
    static constexpr int kBeforeModes = ResponseKinds::kBeforeModes;
    static constexpr int kModes = ResponseKinds::kModes;
    using Learned = ResponseKinds::Learned;
    using Response = ResponseKinds::Response;
    using Match = MatchedFilters::Match;

    void begin(const EngineConfig& engine, const WheelConfig& wheel, const CycleGrid& grid, int first_bin, int size,
               int length) noexcept {
        firings_ = grid.firings;
        expected_.common = kCommonDoubt * static_cast<Real>(grid.bin_deg) / kDoubtBin_deg;
        kinds_.begin(engine, wheel.at, grid, first_bin, size, length);
        view_.begin(wheel, grid, first_bin);
        chosen_ = 0;
        evidence_.begin(kBeforeModes + 1, ResponseKinds::kLate + 1);
        learned_.begin(firings_, kinds_.torsion_gains());
        tuning_.begin();
    }

    /// Frequency of torsion alternative `mode`, 0 to kModes - 1.
    [[nodiscard]] double mode_hz(int mode) const noexcept { return kinds_.mode_hz(mode); }

    /// Adapts the torsion part to the engine's speed. True where it changed enough to matter (3 %).
    bool set_speed(Real speed_rpm) noexcept {
        if (!kinds_.is_another_speed(speed_rpm)) return false;
        // What was learned in the angle domain holds near the speed at which it was learned.
        const Real before = kinds_.speed_rpm();
        const Real change = before > Real(0) ? std::fabs(std::log(speed_rpm / before)) : Real(0);
        learned_.forget(std::exp(-change / Real(0.15)));
        kinds_.set_speed(speed_rpm);
        if (chosen_ > kinds_.active()) leave_mode(0);
        if (ResponseKinds::is_mode(chosen_)) retune();
        expected_.twist = kTwistDoubt * kinds_.usual_twist();
        return true;
    }

    /// Recomputes the responses: physics plus what misfires have told, where windows scatter as `covariance` says.
    void compose(const WindowCovariance& covariance) noexcept {
        doubt_ = 0;
        Learned::Places deviation{};
        const Response added = kinds_.added_by(chosen_, length());
        for (int k = 0; k < firings_; ++k) response_[static_cast<std::size_t>(k)] = seen_through_teeth(k, added);
        for (int j = 0; j < length(); ++j) {
            const Real noise = covariance.begun() ? covariance.variance(bin_like(j)) : Real(1);
            const Real variance = learned_.at(j, noise, expected_, deviation);
            for (int k = 0; k < firings_; ++k) {
                const auto place = static_cast<std::size_t>(k);
                response_[place][static_cast<std::size_t>(j)] += deviation[place];
            }
            if (j < size()) doubt_ += variance / static_cast<Real>(size());
        }
        ring_on();
    }

    using Ringing = CrankRinging;
    [[nodiscard]] const Ringing& ringing() const noexcept { return ringing_; }

    /// Half of the variance, per bin, with which the responses themselves are still unknown. A misfire scatters by all of it, a
    /// healthy firing by none; their mean belongs into the covariance that separates the two.
    [[nodiscard]] Real doubt() const noexcept { return Real(0.5) * doubt_; }

    /// Recomputes all that follows from responses and covariance: the matched weights of each place and hypothesis.
    void match(const WindowCovariance& covariance) noexcept { filters_.match(response_, firings_, kinds_, covariance); }

    /// The same of the places alone, for a trial.
    void match_places(const WindowCovariance& covariance) noexcept {
        filters_.match_places(response_, firings_, size(), covariance);
    }

    [[nodiscard]] Match match_whole(int k, const Window& x) const noexcept { return filters_.whole(k, x); }

    /// The same from the window's bins from `from` to `length` alone; the rest of x is not looked at.
    [[nodiscard]] Match match_part(int k, const Window& x, int from, int length,
                                   const WindowCovariance& covariance) const noexcept {
        Window weight{};
        covariance.solve(response(k), weight, from, length);
        const Real precision = dot(weight, response(k));
        return {dot(weight, x) / precision, precision};
    }

    /// Inverse variance of amplitude() over healthy firings.
    [[nodiscard]] Real precision(int k) const noexcept { return filters_.precision(k); }
    /// How strongly the first torsion mode shows torque on this place's throw.
    [[nodiscard]] Real torsion_gain(int k) const noexcept { return kinds_.torsion_gain(k); }
    /// The first torsion mode, cycles a revolution: the chosen one, or the one expected of an engine of this size if that is
    /// lower, so that what torsion could do is not taken too small.
    [[nodiscard]] Real mode_per_rev() const noexcept {
        const double usual_hz = mode_hz(kModes / 2);
        const double hz =
            ResponseKinds::is_mode(chosen_) ? std::min(mode_hz(chosen_ - 1 - kBeforeModes), usual_hz) : usual_hz;
        return static_cast<Real>(hz * 60.0) / std::max(speed_rpm(), Real(1));
    }
    [[nodiscard]] const Window& rigid(int k) const noexcept { return kinds_.rigid(k); }
    [[nodiscard]] int size() const noexcept { return kinds_.size(); }
    /// Bins of response() that hold something; the first size() of them lie in the window.
    [[nodiscard]] int length() const noexcept { return kinds_.length(); }
    [[nodiscard]] const Response& response(int k) const noexcept { return response_[static_cast<std::size_t>(k)]; }

    /// Part of place m's response, `shift` bins later than place k's, that place k's weights pick up, per unit amplitude.
    [[nodiscard]] Real leak(int k, int m, int shift) const noexcept {
        return filters_.leak(k, response(m), length(), shift);
    }
    /// What a constant of one in the whole window adds to place k's amplitude.
    [[nodiscard]] Real level(int k) const noexcept { return filters_.level(k); }
    /// What a slope from minus one to one over the window adds to it.
    [[nodiscard]] Real tilt(int k) const noexcept { return filters_.tilt(k); }
    /// What errors of single edges, of variance one in a difference of energies, add to the variance of place k's amplitude.
    [[nodiscard]] Real edge_variance(int k) const noexcept { return filters_.edge_variance(k); }

    /// Largest log-likelihood gain of "work lost" over "healthy" among all hypotheses.
    [[nodiscard]] Real best_gain(int k, const Window& x) const noexcept {
        MatchedFilters::Gains gain{};
        filters_.gains(k, x, kinds_, gain);
        return *std::max_element(gain.begin(), gain.begin() + kinds_.active() + 1);
    }

    /// Adds one firing that explains more than its neighbours do to the evidence for each hypothesis. These are weighed as if bins showed all
    /// of the crank's motion: one set of weights serves all places, and the wheel's view is a place's own.
    void weigh(int k, const Window& x, const WindowCovariance& covariance) noexcept {
        MatchedFilters::Gains gain{};
        filters_.gains(k, x, kinds_, gain);
        const Real square = covariance.square(x);
        for (int h = 0; h <= kinds_.active(); ++h) {
            Real& g = gain[static_cast<std::size_t>(h)];
            g = heavy_tailed_gain(g, square, size());
        }
        evidence_.add(gain, kinds_.active());
    }

    /// Hypotheses in use at this speed, and the choice of one for a trial while no misfire has been learned from.
    [[nodiscard]] int hypotheses() const noexcept { return kinds_.active() + 1; }
    [[nodiscard]] bool untaught() const noexcept { return learned_.misfires() == Real(0); }
    void assume(int hypothesis) noexcept { chosen_ = hypothesis; }
    using Gains = MatchedFilters::Gains;
    /// Adds the log-likelihood gains that many firings together have under each hypothesis.
    void expect(const Gains& gain) noexcept { evidence_.expect(gain, kinds_.active()); }

    /// Enough misfires were seen to know their kind.
    [[nodiscard]] bool experienced() const noexcept { return learned_.misfires() > Real(20); }

    /// Whether another hypothesis than the one in use explains clearly more of what was weighed.
    [[nodiscard]] bool prefers_another() const noexcept { return evidence_.prefers_another(chosen_, kinds_.active()); }

    /// Picks the hypothesis with the most evidence, with some inertia. True where it changed. While no misfire has been seen,
    /// torsion that the healthy engine shows anyway tells its frequency.
    bool choose(bool covariance_learned) noexcept {
        int best = chosen_;
        if (!evidence_.any(kinds_.active())) {
            if (covariance_learned) best = ringing_mode();
        } else if (prefers_another()) {
            best = evidence_.best(kinds_.active());
        }
        if (best == chosen_) return false;
        leave_mode(best);
        learned_.forget(Real(0));
        return true;
    }

    /// Learns from one misfire of probability `trust`: the first `known` bins around it over its amplitude.
    void refine(int k, const Response& x, int known, Real trust, const WindowCovariance& covariance) noexcept {
        known_ = known;
        const Response usual = seen_through_teeth(k, kinds_.added_by(chosen_, length()));
        Response deviation{};
        for (std::size_t j = 0; j < static_cast<std::size_t>(known); ++j) deviation[j] = x[j] - usual[j];
        learned_.learn(k, deviation, known, trust);
        if (ResponseKinds::is_mode(chosen_) && covariance.begun() && tuning_.wants_more())
            tune(k, deviation, known, trust, covariance);
    }

    [[nodiscard]] int chosen() const noexcept { return chosen_; }
    [[nodiscard]] Real speed_rpm() const noexcept { return kinds_.speed_rpm(); }

  private:
    /// What physics expects bins to show of place `k`; `added`: what the hypothesis in use adds.
    [[nodiscard]] Response seen_through_teeth(int k, const Response& added) const noexcept {
        Response response{};
        std::copy_n(rigid(k).begin(), size(), response.begin());
        const Real gain = kinds_.gain_of(chosen_, k);
        for (std::size_t j = 0; j < static_cast<std::size_t>(length()); ++j) response[j] += gain * added[j];
        view_.look(k, response, length());
        return response;
    }

    /// Bin of the window that scatters as bin `j` of a response: beyond the window noise is what it was a revolution before.
    [[nodiscard]] int bin_like(int j) const noexcept { return j < size() ? j : size() - 1 - (j - size()) % size(); }

    /// Beyond what was learned the crank rings on as it rang before, after blow-down, at all places.
    void ring_on() noexcept {
        ringing_ = {};
        // Never the first bin, for the one before is looked at, too.
        const int from = std::max(1, std::min(kinds_.first_after_blow_down(), known_));
        if (learned_.misfires() < kFewMisfires || known_ >= length() || known_ - from < 6) return;
        ringing_ = fit_ringing(response_, firings_, from, known_, kinds_.slowest_step());
        if (!ringing_.any()) return;
        for (int k = 0; k < firings_; ++k) ringing_.go_on(response_[static_cast<std::size_t>(k)], known_, length());
    }

    /// Another hypothesis: the mode that was in use is one among others again.
    void leave_mode(int chosen) noexcept {
        if (ResponseKinds::is_mode(chosen_) && chosen_ <= kinds_.active()) kinds_.restore(chosen_);
        chosen_ = chosen;
        tuning_.begin();
    }

    /// The mode in use is where misfires have shown it.
    void retune() noexcept { kinds_.retune(chosen_, tuning_.frequency(), tuning_.damping(), tuning_.size()); }

    /// Moves the mode in use to where a misfire shows it.
    void tune(int k, const Response& deviation, int known, Real trust, const WindowCovariance& covariance) noexcept {
        tuning_.learn(
            deviation, known, kinds_.gain_of(chosen_, k),
            [this](double frequency, double damping, Response& mode) {
                kinds_.write_mode(chosen_, frequency, damping, mode);
            },
            [&](int j) { return covariance.variance(bin_like(j)); }, trust);
        Response more = kinds_.added(chosen_);
        retune();
        const Response& mode = kinds_.added(chosen_);
        for (std::size_t j = 0; j < mode.size(); ++j) more[j] = mode[j] - more[j];
        learned_.expect_twist(more);
    }

    /// The torsion mode along which healthy windows vary clearly more than along its neighbours in frequency; 0 where there
    /// is none.
    [[nodiscard]] int ringing_mode() const noexcept {
        int best = 0;
        Real deepest = Real(1.6);
        const auto stiffness = [this](int h) { return filters_.stiffness(h, kinds_); };
        for (int h = kBeforeModes + 2; h < kinds_.active(); ++h) {
            const Real dip = stiffness(h - 1) * stiffness(h + 1) / (stiffness(h) * stiffness(h));
            if (dip > deepest) {
                deepest = dip;
                best = h;
            }
        }
        return best;
    }

    // Shares of the lost work in one bin of this length; a longer bin holds more of it. What all share was chosen on drawn engines: of 0.025
    // to 0.1, 0.05 and less find about as many misfires, more clearly fewer. What is a place's own is an engineering range, from memory.
    static constexpr Real kDoubtBin_deg = Real(24);
    static constexpr Real kCommonDoubt = Real(0.05);
    static constexpr Real kOwnDoubt = Real(0.03);
    // Of what the mode itself adds: its frequency and its damping are known to some tenths, and so its phase after some turns is not.
    static constexpr Real kTwistDoubt = Real(0.4);
    static constexpr Real kFewMisfires = Real(10);

    int known_ = 0;  // bins of the response that misfires tell
    int firings_ = 0;
    int chosen_ = 0;
    Ringing ringing_{};
    Real doubt_ = 0;
    ResponseKinds kinds_{};
    WheelView view_{};
    MatchedFilters filters_{};
    ResponseEvidence<ResponseKinds::kHypotheses> evidence_{};
    std::array<Response, kMaxCylinders> response_{};
    Learned learned_{};
    ModeTuning tuning_{};
    Learned::Expected expected_{kCommonDoubt, kOwnDoubt, Real(0)};
};

}  // namespace kurbel
