// How a cylinder misfires, as a process: what a healthy and a faulty cylinder would do, firing by firing, so that the record
// of one can be weighed against each. Misfires cluster; the model knows clusters of every length beside independent losses.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace kurbel {

/// What one cylinder did over its firings, run-length coded. Cycles in which it was not judged are gaps, not healthy firings.
class FiringRecord {
  public:
    /// Another recording begins: nothing connects it to what came before.
    void restart() { tokens_.push_back(0); }
    /// A firing in engine cycle `cycle` of the present recording.
    void add(std::int64_t cycle, bool misfire) {
        const bool first = tokens_.empty() || tokens_.back() == 0;
        const std::int64_t gap = first ? 0 : cycle - last_cycle_ - 1;
        last_cycle_ = cycle;
        if (gap > 0) tokens_.push_back(-1 - static_cast<std::int32_t>(gap < 100000 ? gap : 100000));
        append(misfire);
    }
    /// A firing in the cycle after the last one.
    void append(bool misfire) {
        ++firings_;
        if (misfire) {
            ++misfires_;
            tokens_.push_back(-1);
        } else if (!tokens_.empty() && tokens_.back() > 0) {
            ++tokens_.back();
        } else {
            tokens_.push_back(1);
        }
    }
    [[nodiscard]] std::int64_t firings() const noexcept { return firings_; }
    [[nodiscard]] std::int64_t misfires() const noexcept { return misfires_; }
    /// n > 0: n firings in a row that burnt; -1: a misfire; below: -1 - n, n cycles unseen; 0: a new recording.
    [[nodiscard]] const std::vector<std::int32_t>& tokens() const noexcept { return tokens_; }

  private:
    std::vector<std::int32_t> tokens_;
    std::int64_t firings_ = 0;
    std::int64_t misfires_ = 0;
    std::int64_t last_cycle_ = 0;
};

/// The ways in which a faulty cylinder may misfire: its rate, how long its bad spells last, and how many firings are lost
/// within one. A two-state Markov chain (good, bad), seen through lost firings: in the good state nearly all burn, in the bad one
/// the share `duty` is lost (a hidden Markov model: Rabiner, Proc. IEEE 77:257-286, 1989, from memory). Rates stand evenly in
/// the logit, from 1 % (the smallest limit of any monitor: below it there is no fault to speak of) to 99.6 %.
class MisfireProcess {
  public:
    static constexpr int kRates = 25;
    static constexpr int kShapes = 9;  ///< independent losses, and four persistences with two duties each
    static constexpr int kWays = kRates * kShapes;
    static constexpr double kLowestLogit = -4.6;
    static constexpr double kLogitStep = 10.1 / (kRates - 1);

    struct Way {
        bool possible = false;
        bool independent = false;
        double rate = 0.0;
        double bad = 0.0;          ///< share of time in the bad state
        double persistence = 0.0;  ///< eigenvalue of the chain: 0 = no memory
        double lost_bad = 0.0;     ///< share lost in the bad state
        double lost_good = 0.0;
        std::array<double, 4> burnt{};  ///< one step of the chain with a firing that burnt, row by row
        double eigen1 = 0.0;            ///< its eigenvalues
        double eigen2 = 0.0;
        double log_eigen1 = 0.0;
        double log_ratio = 0.0;  ///< log(eigen2 / eigen1)
    };

    MisfireProcess();

    /// Way `rate` (0 to kRates - 1) of `shape` (0 to kShapes - 1).
    [[nodiscard]] const Way& way(int shape, int rate) const noexcept {
        return ways_[static_cast<std::size_t>(shape * kRates + rate)];
    }
    [[nodiscard]] static double rate_of(int rate) noexcept {
        return 1.0 / (1.0 + std::exp(-(kLowestLogit + kLogitStep * rate)));
    }
    /// Prior weight of a rate: every factor of rate alike (log-uniform); they sum to 1.
    [[nodiscard]] double rate_prior(int rate) const noexcept { return rate_prior_[static_cast<std::size_t>(rate)]; }
    /// Prior weight of a shape; they sum to 1.
    [[nodiscard]] static double shape_prior(int shape) noexcept;

    /// The one that all studies share.
    [[nodiscard]] static const MisfireProcess& shared();

  private:
    std::array<Way, static_cast<std::size_t>(kWays)> ways_{};
    std::array<double, static_cast<std::size_t>(kRates)> rate_prior_{};
};

/// Log likelihoods of one cylinder's record under every way of MisfireProcess, kept up to date as the record grows.
class ProcessFilter {
  public:
    ProcessFilter();

    /// Takes a record that goes on where the one before ended (begin it with restart() where it does not).
    void take(const FiringRecord& record);

    [[nodiscard]] double log_likelihood(int shape, int rate) const noexcept {
        return log_[static_cast<std::size_t>(shape * MisfireProcess::kRates + rate)];
    }
    /// Probability of the bad state now, under a way.
    [[nodiscard]] double bad(int shape, int rate) const noexcept {
        return bad_[static_cast<std::size_t>(shape * MisfireProcess::kRates + rate)];
    }
    [[nodiscard]] std::int64_t firings() const noexcept { return firings_; }
    [[nodiscard]] std::int64_t misfires() const noexcept { return misfires_; }

  private:
    void take_tokens(const MisfireProcess::Way& way, const std::vector<std::int32_t>& tokens, double& log,
                     double& bad) const noexcept;

    std::vector<double> log_;
    std::vector<double> bad_;  // probability of the bad state, given all so far
    std::int64_t firings_ = 0;
    std::int64_t misfires_ = 0;
};

}  // namespace kurbel
