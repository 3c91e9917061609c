// How one lost combustion of each cylinder shows in the window: physics first, then what this engine teaches.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/learned_response.hpp"
#include "kurbel/stage/mode_tuning.hpp"
#include "kurbel/stage/reference_torque.hpp"
#include "kurbel/stage/response_evidence.hpp"
#include "kurbel/stage/window.hpp"
#include "kurbel/stage/window_covariance.hpp"

namespace kurbel {

/// Responses per place in the firing order. Hypothesis 0 is a rigid crank with half of the heat released 9 degrees after TDC;
/// then come later combustion (22 and 38 degrees) and the first torsion mode at frequencies 12 % apart. The one that best
/// explains what looks like misfires is used, refined by the mean deviation of firings that were called misfires.
///
/// Responses reach further than the window that is judged, kMaxResponse bins: a crank that rings on after a misfire must not
/// show up as another one.
class ResponseBank {
  public:
    using Real = float;
    static constexpr int kMaxResponse = kMaxWindow + kMaxBins / 2;  // up to a revolution more
    static constexpr int kLate = 2;                                 // late combustion
    static constexpr int kModes = 13;                               // first torsion mode
    static constexpr int kAlternatives = kLate + kModes;
    static constexpr int kHypotheses = kAlternatives + 1;
    using Learned = LearnedResponse<kMaxResponse>;
    using Response = Learned::Response;

    void begin(const EngineConfig& engine, SensorAt at, const CycleGrid& grid, int first_bin, int size,
               int length) noexcept {
        size_ = size;
        length_ = length;
        firings_ = grid.firings;
        first_bin_ = first_bin;
        bin_deg_ = grid.bin_deg;
        expected_.common = kCommonDoubt * static_cast<Real>(grid.bin_deg) / kDoubtBin_deg;
        work_ = CombustionWork(SliderCrank::of(engine), 9.0);
        const auto gain = first_mode_gain(engine, at);
        for (int k = 0; k < firings_; ++k) {
            const auto place = static_cast<std::size_t>(k);
            gain_[place] = static_cast<Real>(gain[place]);
            lost_combustion(work_, bin_deg_, first_bin, size, grid.tdc_offset[place], 0.0, rigid_[place].data());
        }
        begin_late(SliderCrank::of(engine));
        // First crank torsion modes fall with engine size: about 350 Hz at 86 mm bore (engineering range, from memory).
        const double middle_hz = engine.bore_mm > 0.0 ? 350.0 * 86.0 / engine.bore_mm : 350.0;
        lowest_hz_ = 0.42 * middle_hz;
        chosen_ = 0;
        evidence_.begin(kLate + 1);
        speed_rpm_ = 0;
        learned_.begin(firings_, gain_);
        tuning_.begin();
    }

    /// Frequency of torsion alternative `mode`, 0 to kModes - 1.
    [[nodiscard]] double mode_hz(int mode) const noexcept { return lowest_hz_ * std::pow(1.12, mode); }

    /// Adapts the torsion part to the engine's speed. True where it changed enough to matter (3 %).
    bool set_speed(Real speed_rpm) noexcept {
        if (std::fabs(speed_rpm - speed_rpm_) <= Real(0.03) * speed_rpm_) return false;
        // What was learned in the angle domain holds near the speed at which it was learned.
        const Real change = speed_rpm_ > Real(0) ? std::fabs(std::log(speed_rpm / speed_rpm_)) : Real(0);
        learned_.forget(std::exp(-change / Real(0.15)));
        speed_rpm_ = speed_rpm;
        active_ = kLate;
        // From the lowest on; beyond 12 cycles a revolution a mode does not outlast one bin.
        for (int m = 0; m < kModes; ++m) {
            const double per_rev = mode_hz(m) * 60.0 / static_cast<double>(speed_rpm);
            if (per_rev > 12.0) break;
            lost_combustion(work_, bin_deg_, first_bin_, length_, 0.0, per_rev,
                            mode_[static_cast<std::size_t>(active_++)].data());
        }
        if (chosen_ > active_) drop_mode(0);
        if (chosen_ > kLate)
            write_mode(chosen_, tuning_.frequency(), tuning_.damping(), tuning_.size(),
                       mode_[static_cast<std::size_t>(chosen_ - 1)]);
        expected_.twist = kTwistDoubt * usual_twist();
        return true;
    }

    /// Recomputes the responses: physics plus what misfires have told, where windows scatter as `covariance` says.
    void compose(const WindowCovariance& covariance) noexcept {
        doubt_ = 0;
        Learned::Places deviation{};
        for (int j = 0; j < length_; ++j) {
            // Beyond the window noise is what it was a revolution before.
            const int like = j < size_ ? j : size_ - 1 - (j - size_) % size_;
            const Real noise = covariance.begun() ? covariance.variance(like) : Real(1);
            const Real variance = learned_.at(j, noise, expected_, deviation);
            for (int k = 0; k < firings_; ++k) {
                const auto place = static_cast<std::size_t>(k);
                response_[place][static_cast<std::size_t>(j)] = physical(k, j) + deviation[place];
            }
            if (j < size_) doubt_ += variance / static_cast<Real>(size_);
        }
        ring_on();
    }

    /// Damped oscillation of what misfires leave behind, bin by bin: r(j+1) = a r(j) - b r(j-1). Both zero where none is known.
    struct Ringing {
        Real a = 0;
        Real b = 0;
    };
    [[nodiscard]] const Ringing& ringing() const noexcept { return ringing_; }

    /// Beyond what was learned the crank rings on as it rang before: a damped oscillation, r(j+1) = a r(j) - b r(j-1), fitted to what
    /// all places show after blow-down.
    void ring_on() noexcept {
        ringing_ = Ringing{};
        // Never the first bin, for the one before is looked at, too.
        const int from = std::max(1, std::min(-first_bin_ + static_cast<int>(std::ceil(200.0 / bin_deg_)), known_));
        if (learned_.misfires() < kFewMisfires || known_ >= length_ || known_ - from < 6) return;
        Real here = 0;
        Real before = 0;
        Real both = 0;
        Real next_here = 0;
        Real next_before = 0;
        Real next = 0;
        for (int k = 0; k < firings_; ++k)
            for (int j = from; j + 1 < known_; ++j) {
                const auto at = static_cast<std::size_t>(j);
                const Response& r = response_[static_cast<std::size_t>(k)];
                here += r[at] * r[at];
                before += r[at - 1] * r[at - 1];
                both += r[at] * r[at - 1];
                next_here += r[at + 1] * r[at];
                next_before += r[at + 1] * r[at - 1];
                next += r[at + 1] * r[at + 1];
            }
        const Real determinant = here * before - both * both;
        if (!(determinant > Real(1e-4) * here * before)) return;
        const Real a = (next_here * before - next_before * both) / determinant;
        const Real b = -(next_before * here - next_here * both) / determinant;
        const Real explained = a * next_here - b * next_before;
        // Only an oscillation that dies out, and that tells most of what is seen; and none slower than a crank twists, for what frequent
        // misfires leave of each other looks like one.
        if (!(explained > Real(0.5) * next) || b <= Real(0) || b >= Real(1) || a * a >= Real(4) * b) return;
        if (a > Real(2) * std::sqrt(b) * slowest_step()) return;
        ringing_ = {a, b};
        for (int k = 0; k < firings_; ++k) {
            Response& r = response_[static_cast<std::size_t>(k)];
            for (int j = known_; j < length_; ++j) {
                const auto at = static_cast<std::size_t>(j);
                r[at] = a * r[at - 1] - b * r[at - 2];
            }
        }
    }

    /// Cosine of the least angle that a torsion mode turns by from one bin to the next; 1 where that is beyond half a turn.
    [[nodiscard]] Real slowest_step() const noexcept {
        const double step = to_rad(60.0 * lowest_hz_ * bin_deg_ / std::max(static_cast<double>(speed_rpm_), 1.0));
        return step < to_rad(180.0) ? static_cast<Real>(std::cos(step)) : Real(1);
    }

    /// Half of the variance, per bin, with which the responses themselves are still unknown. A misfire scatters by all of it, a
    /// healthy firing by none; their mean belongs into the covariance that separates the two.
    [[nodiscard]] Real doubt() const noexcept { return Real(0.5) * doubt_; }

    /// Recomputes all that follows from responses and covariance: the matched weights of each place and hypothesis.
    void match(const WindowCovariance& covariance) noexcept {
        solve_all(covariance);
        for (int k = 0; k < firings_; ++k) {
            const auto place = static_cast<std::size_t>(k);
            precision_[place] = dot(weight_[place], response_[place]);
        }
        rigid_precision_ = dot(rigid_[0], rigid_weight_);
        for (int h = 1; h <= active_; ++h) {
            const auto mode = static_cast<std::size_t>(h - 1);
            mode_precision_[mode] = dot(mode_weight_[mode], mode_[mode]);
            cross_[mode] = dot(mode_weight_[mode], rigid_[0]);
        }
    }

    /// Amplitude of a response in a window (0 healthy, 1 all work lost), and the inverse of its variance over healthy firings.
    struct Match {
        Real amplitude;
        Real precision;
    };

    [[nodiscard]] Match match_whole(int k, const Window& x) const noexcept {
        const auto place = static_cast<std::size_t>(k);
        return {dot(weight_[place], x) / precision_[place], precision_[place]};
    }

    /// The same from the first `length` bins of the window alone; the rest of x is not looked at.
    [[nodiscard]] Match match_part(int k, const Window& x, int length,
                                   const WindowCovariance& covariance) const noexcept {
        const auto place = static_cast<std::size_t>(k);
        Window weight{};
        covariance.solve(response_[place], weight, length);
        const Real precision = dot(weight, response_[place]);
        return {dot(weight, x) / precision, precision};
    }

    /// Inverse variance of amplitude() over healthy firings.
    [[nodiscard]] Real precision(int k) const noexcept { return precision_[static_cast<std::size_t>(k)]; }
    /// How strongly the first torsion mode shows torque on this place's throw.
    [[nodiscard]] Real torsion_gain(int k) const noexcept { return gain_[static_cast<std::size_t>(k)]; }
    /// The first torsion mode, cycles a revolution: the chosen one, or the one expected of an engine of this size if that is
    /// lower, so that what torsion could do is not taken too small.
    [[nodiscard]] Real mode_per_rev() const noexcept {
        const double usual_hz = mode_hz(kModes / 2);
        const double hz = chosen_ > kLate ? std::min(mode_hz(chosen_ - 1 - kLate), usual_hz) : usual_hz;
        return static_cast<Real>(hz * 60.0) / std::max(speed_rpm_, Real(1));
    }
    [[nodiscard]] const Window& rigid(int k) const noexcept { return rigid_[static_cast<std::size_t>(k)]; }
    [[nodiscard]] int size() const noexcept { return size_; }
    /// Bins of response() that hold something; the first size() of them lie in the window.
    [[nodiscard]] int length() const noexcept { return length_; }
    [[nodiscard]] const Response& response(int k) const noexcept { return response_[static_cast<std::size_t>(k)]; }

    /// Part of place m's response, `shift` bins later than place k's, that place k's weights pick up, per unit amplitude.
    [[nodiscard]] Real leak(int k, int m, int shift) const noexcept {
        const auto place = static_cast<std::size_t>(k);
        const Response& from = response_[static_cast<std::size_t>(m)];
        const int begin = std::max(0, shift);
        const int end = std::min(size_, length_ + shift);
        Real sum = 0;
        for (int j = begin; j < end; ++j)
            sum += weight_[place][static_cast<std::size_t>(j)] * from[static_cast<std::size_t>(j - shift)];
        return sum / precision_[place];
    }

    /// What a constant of one in the whole window adds to place k's amplitude.
    [[nodiscard]] Real level(int k) const noexcept {
        const auto place = static_cast<std::size_t>(k);
        return sum_of(weight_[place]) / precision_[place];
    }

    /// What a slope from minus one to one over the window adds to it.
    [[nodiscard]] Real tilt(int k) const noexcept {
        const auto place = static_cast<std::size_t>(k);
        Real sum = 0;
        for (int j = 0; j < size_; ++j)
            sum += weight_[place][static_cast<std::size_t>(j)] *
                   (Real(2) * static_cast<Real>(j) / static_cast<Real>(size_ - 1) - Real(1));
        return sum / precision_[place];
    }

    /// What errors of single edges, of variance one in a difference of energies, add to the variance of place k's amplitude.
    [[nodiscard]] Real edge_variance(int k) const noexcept {
        const Window& weight = weight_[static_cast<std::size_t>(k)];
        const auto square = [](Real x) { return x * x; };
        // The bends within the window, and those at both ends, where what is outside has no weight.
        const Real first = weight[0];
        const Real last = weight[static_cast<std::size_t>(size_ - 1)];
        const Real sum = square_bend(size_, [&weight](std::size_t j) { return weight[j]; }) + square(first) +
                         square(weight[1] - Real(2) * first) +
                         square(weight[static_cast<std::size_t>(std::max(size_ - 2, 0))] - Real(2) * last) +
                         square(last);
        return sum / (precision(k) * precision(k));
    }

    /// Largest log-likelihood gain of "work lost" over "healthy" among all hypotheses.
    [[nodiscard]] Real best_gain(int k, const Window& x) const noexcept {
        std::array<Real, kHypotheses> gain{};
        gains(k, x, gain);
        return *std::max_element(gain.begin(), gain.begin() + active_ + 1);
    }

    /// Adds one firing that explains more than its neighbours do to the evidence for each hypothesis.
    void weigh(int k, const Window& x, const WindowCovariance& covariance) noexcept {
        std::array<Real, kHypotheses> gain{};
        gains(k, x, gain);
        const Real square = covariance.square(x);
        for (int h = 0; h <= active_; ++h) {
            Real& g = gain[static_cast<std::size_t>(h)];
            g = heavy_tailed_gain(g, square, size_);
        }
        evidence_.add(gain, active_);
    }

    /// Hypotheses in use at this speed, and the choice of one for a trial while no misfire has been learned from.
    [[nodiscard]] int hypotheses() const noexcept { return active_ + 1; }
    [[nodiscard]] bool untaught() const noexcept { return learned_.misfires() == Real(0); }
    void assume(int hypothesis) noexcept { chosen_ = hypothesis; }
    /// Adds a log-likelihood gain that many firings together have under a hypothesis.
    void expect(int hypothesis, Real gain) noexcept { evidence_.expect(hypothesis, gain); }

    /// Enough misfires were seen to know their kind.
    [[nodiscard]] bool experienced() const noexcept { return learned_.misfires() > Real(20); }

    /// Whether another hypothesis than the one in use explains clearly more of what was weighed.
    [[nodiscard]] bool prefers_another() const noexcept { return evidence_.prefers_another(chosen_, active_); }

    /// Picks the hypothesis with the most evidence, with some inertia. True where it changed. While no misfire has been seen,
    /// torsion that the healthy engine shows anyway tells its frequency.
    bool choose(bool covariance_learned) noexcept {
        int best = chosen_;
        if (!evidence_.any(active_)) {
            if (covariance_learned) best = ringing_mode();
        } else if (prefers_another()) {
            best = evidence_.best(active_);
        }
        if (best == chosen_) return false;
        drop_mode(best);
        learned_.forget(Real(0));
        return true;
    }

    /// Learns from one misfire of probability `trust`: the first `known` bins around it over its amplitude.
    void refine(int k, const Response& x, int known, Real trust, const WindowCovariance& covariance) noexcept {
        known_ = known;
        Response deviation{};
        for (int j = 0; j < known; ++j) {
            const auto at = static_cast<std::size_t>(j);
            deviation[at] = x[at] - physical(k, j);
        }
        learned_.learn(k, deviation, known, trust);
        if (chosen_ > kLate && covariance.begun() && tuning_.wants_more()) tune(k, deviation, known, trust, covariance);
    }

    [[nodiscard]] int chosen() const noexcept { return chosen_; }
    [[nodiscard]] Real speed_rpm() const noexcept { return speed_rpm_; }

  private:
    /// The torsion alternative `hypothesis` at another frequency than its own, by a factor, and of another size.
    void write_mode(int hypothesis, double frequency, double damping, Real size, Response& mode) const noexcept {
        const double per_rev = mode_hz(hypothesis - 1 - kLate) * frequency * 60.0 / static_cast<double>(speed_rpm_);
        lost_combustion(work_, bin_deg_, first_bin_, length_, 0.0, per_rev, mode.data(), damping);
        for (int j = 0; j < length_; ++j) mode[static_cast<std::size_t>(j)] *= size;
    }

    /// Another hypothesis: the mode that was in use is one among others again.
    void drop_mode(int chosen) noexcept {
        if (chosen_ > kLate && chosen_ <= active_)
            write_mode(chosen_, 1.0, kFadingMean, Real(1), mode_[static_cast<std::size_t>(chosen_ - 1)]);
        chosen_ = chosen;
        tuning_.begin();
    }

    /// Moves the mode in use to where a misfire shows it.
    void tune(int k, const Response& deviation, int known, Real trust, const WindowCovariance& covariance) noexcept {
        tuning_.learn(
            deviation, known, gain_of(chosen_, k),
            [this](double frequency, double damping, Response& mode) {
                write_mode(chosen_, frequency, damping, Real(1), mode);
            },
            [&](int j) { return covariance.variance(j < size_ ? j : size_ - 1 - (j - size_) % size_); }, trust);
        Response& mode = mode_[static_cast<std::size_t>(chosen_ - 1)];
        Response more = mode;
        write_mode(chosen_, tuning_.frequency(), tuning_.damping(), tuning_.size(), mode);
        for (std::size_t j = 0; j < mode.size(); ++j) more[j] = mode[j] - more[j];
        learned_.expect_twist(more);
    }

    /// Weights of all responses, modes and the rigid crank's, several at a time.
    void solve_all(const WindowCovariance& covariance) noexcept {
        std::array<const Real*, kMaxCylinders + kHypotheses> from{};
        std::array<Real*, kMaxCylinders + kHypotheses> to{};
        std::size_t count = 0;
        const auto add = [&](const Real* response, Window& weight) {
            from[count] = response;
            to[count++] = weight.data();
        };
        for (int k = 0; k < firings_; ++k)
            add(response_[static_cast<std::size_t>(k)].data(), weight_[static_cast<std::size_t>(k)]);
        add(rigid_[0].data(), rigid_weight_);
        for (int h = 0; h < active_; ++h)
            add(mode_[static_cast<std::size_t>(h)].data(), mode_weight_[static_cast<std::size_t>(h)]);
        constexpr std::size_t kBeside = WindowCovariance::kBeside;
        WindowCovariance::Block block{};
        for (std::size_t first = 0; first < count; first += kBeside) {
            const std::size_t beside = std::min(kBeside, count - first);
            for (std::size_t j = 0; j < static_cast<std::size_t>(size_); ++j)
                for (std::size_t n = 0; n < beside; ++n) block[j][n] = from[first + n][j];
            covariance.solve(block);
            for (std::size_t j = 0; j < static_cast<std::size_t>(size_); ++j)
                for (std::size_t n = 0; n < beside; ++n) to[first + n][j] = block[j][n];
        }
    }

    void gains(int k, const Window& x, std::array<Real, kHypotheses>& gain) const noexcept {
        const Real rigid = dot(rigid_weight_, x);
        gain[0] = gain_at(rigid, rigid_precision_);
        for (int h = 1; h <= active_; ++h) {
            const auto mode = static_cast<std::size_t>(h - 1);
            const Real share = gain_of(h, k);
            const Real precision =
                rigid_precision_ + Real(2) * share * cross_[mode] + share * share * mode_precision_[mode];
            gain[static_cast<std::size_t>(h)] = gain_at(rigid + share * dot(mode_weight_[mode], x), precision);
        }
    }

    /// Gain of a loss of the likeliest size: the expected work is known to a third.
    [[nodiscard]] static Real gain_at(Real match, Real precision) noexcept {
        const Real size = std::clamp(match / precision, Real(0.6), Real(1.4));
        return size * match - Real(0.5) * size * size * precision;
    }

    /// How much of an alternative's window a place shows.
    [[nodiscard]] Real gain_of(int hypothesis, int k) const noexcept {
        return hypothesis <= kLate ? Real(1) : gain_[static_cast<std::size_t>(k)];
    }

    /// The torsion mode along which healthy windows vary clearly more than along its neighbours in frequency; 0 where there
    /// is none.
    [[nodiscard]] int ringing_mode() const noexcept {
        int best = 0;
        Real deepest = Real(1.6);
        const auto stiffness = [this](int h) {
            const auto mode = static_cast<std::size_t>(h - 1);
            return mode_precision_[mode] / std::max(dot(head_of(mode_[mode], size_), mode_[mode]), Real(1e-12));
        };
        for (int h = kLate + 2; h < active_; ++h) {
            const Real dip = stiffness(h - 1) * stiffness(h + 1) / (stiffness(h) * stiffness(h));
            if (dip > deepest) {
                deepest = dip;
                best = h;
            }
        }
        return best;
    }

    /// Later combustion, as what it adds to the response of the first place.
    void begin_late(const SliderCrank& crank) noexcept {
        Response normal{};
        lost_combustion(work_, bin_deg_, first_bin_, length_, 0.0, 0.0, normal.data());
        for (int late = 0; late < kLate; ++late) {
            Response& added = mode_[static_cast<std::size_t>(late)];
            lost_combustion(CombustionWork(crank, late == 0 ? 22.0 : 38.0), bin_deg_, first_bin_, length_, 0.0, 0.0,
                            added.data());
            for (int j = 0; j < length_; ++j) added[static_cast<std::size_t>(j)] -= normal[static_cast<std::size_t>(j)];
        }
        active_ = kLate;
    }

    [[nodiscard]] Real physical(int k, int j) const noexcept {
        const auto place = static_cast<std::size_t>(k);
        const auto at = static_cast<std::size_t>(j);
        return (j < size_ ? rigid_[place][at] : Real(0)) +
               (chosen_ > 0 ? gain_of(chosen_, k) * mode_[static_cast<std::size_t>(chosen_ - 1)][at] : Real(0));
    }

    /// Root mean square per bin of what the usual mode adds, per unit gain; 0 where it is too fast to show.
    [[nodiscard]] Real usual_twist() const noexcept {
        const int usual = kLate + kModes / 2;
        if (usual >= active_) return Real(0);
        const Response& mode = mode_[static_cast<std::size_t>(usual)];
        return std::sqrt(dot(head_of(mode, size_), mode) / static_cast<Real>(size_));
    }

    // Shares of the lost work in one bin of this length; a longer bin holds more of it. What all share was chosen on drawn engines: of 0.025
    // to 0.1, 0.05 and less find about as many misfires, more clearly fewer. What is a place's own is an engineering range, from memory.
    static constexpr Real kDoubtBin_deg = Real(24);
    static constexpr Real kCommonDoubt = Real(0.05);
    static constexpr Real kOwnDoubt = Real(0.03);
    // Of what the mode itself adds: its frequency and its damping are known to some tenths, and so its phase after some turns is not.
    static constexpr Real kTwistDoubt = Real(0.4);
    static constexpr Real kFewMisfires = Real(10);

    int size_ = 0;
    int length_ = 0;
    int known_ = 0;  // bins of the response that misfires tell
    int firings_ = 0;
    int first_bin_ = 0;
    int chosen_ = 0;
    int active_ = 0;  // alternatives in use at this speed
    double bin_deg_ = 0;
    double lowest_hz_ = 0;
    Real speed_rpm_ = 0;
    Ringing ringing_{};
    Real doubt_ = 0;
    CombustionWork work_{SliderCrank{}, 9.0};
    Learned::Places gain_{};
    std::array<Real, kMaxCylinders> precision_{};
    Real rigid_precision_ = 0;
    ResponseEvidence<kHypotheses> evidence_{};
    std::array<Real, kAlternatives> mode_precision_{};
    std::array<Real, kAlternatives> cross_{};
    std::array<Window, kMaxCylinders> rigid_{};
    Window rigid_weight_{};
    std::array<Response, kMaxCylinders> response_{};
    std::array<Window, kMaxCylinders> weight_{};
    std::array<Response, kAlternatives> mode_{};
    std::array<Window, kAlternatives> mode_weight_{};
    Learned learned_{};
    ModeTuning tuning_{};
    Learned::Expected expected_{kCommonDoubt, kOwnDoubt, Real(0)};
};

}  // namespace kurbel
