// Wald's sequential test of a share, for firings that come one by one.
#pragma once

#include <cmath>
#include <cstdint>

#include "kurbel/core/types.hpp"
#include "kurbel/study/binomial.hpp"

namespace kurbel {

/// Lines of Wald's test over the count x after n (Sequential Analysis, 1947; NIST/SEMATECH e-Handbook 6.2.6): accept p1 where
/// x <= slope n - accept, reject it where x >= slope n + reject. p1 < p2; alpha: chance of rejecting p1, beta: of accepting p2 in
/// error, by Wald's approximation.
struct WaldLines {
    double accept = kUnknown;
    double reject = kUnknown;
    double slope = kUnknown;
};
[[nodiscard]] inline WaldLines wald_lines(double p1, double p2, double alpha, double beta) noexcept {
    const double k = std::log(p2 * (1.0 - p1) / (p1 * (1.0 - p2)));
    return {std::log((1.0 - alpha) / beta) / k, std::log((1.0 - beta) / alpha) / k,
            std::log((1.0 - p1) / (1.0 - p2)) / k};
}

/// A test between a repaired cylinder (misfires at `good` at most) and one that still misfires (at `bad` at least).
///
/// Its limits are a little wider than Wald's, which are approximate and overstep the errors asked for: "gone" where the likelihood
/// ratio of good over bad reaches 1 / error, "remains" where bad over good reaches 2 / error. By Ville's inequality (Étude critique
/// de la notion de collectif, 1939, from memory) no more than `error` of the cylinders at `bad` are ever called gone, however long
/// one watches, and no more than half of `error` of those at `good` are called remaining; the other half is for watching on after
/// "gone". Truncation (the test ends undecided after `most` firings) can only make both errors smaller.
///
/// Both statements hold for firings that are lost independently. Where misfires cluster, a cylinder at rate p has quiet stretches
/// that are longer, and "gone" would come too often: with clusters of m firings on average the chance of n clean firings is about
/// exp(-p n / m), not exp(-p n). `dispersion` (variance of counts over that of independent losses, 1 or more, 2 m - 1 for such
/// clusters) divides the log likelihood ratio, so that limits hold again, and the test takes so many times longer.
/// Where BEFORE does not tell the dispersion, nothing can guard the limit: "gone" is mostly said after no misfire at all (314 clean
/// firings at the default limit), and of clusters of 5 at the limit half of such recordings show none (exp(-0.01 * 314 / 5) = 53 %).
/// A dispersion assumed beforehand would make every test so many times longer; the answer says what it takes for granted instead.
struct SequentialPlan {
    double good = kUnknown;
    double bad = kUnknown;
    double error = kUnknown;
    double dispersion = 1.0;
    double gain = 0.0;        ///< log likelihood ratio of bad over good of one misfire
    double loss = 0.0;        ///< the same of one firing that burnt, its sign turned
    double gone_at = 0.0;     ///< "gone" at this ratio or below
    double remains_at = 0.0;  ///< "remains" at this ratio or above
    std::int64_t most = 0;    ///< firings after which the test ends undecided

    [[nodiscard]] double ratio(std::int64_t firings, std::int64_t misfires) const noexcept {
        return (static_cast<double>(misfires) * gain - static_cast<double>(firings - misfires) * loss) / dispersion;
    }
    /// Firings that must burn without a misfire until "gone", from this state; 0 where it is reached.
    [[nodiscard]] std::int64_t clean_needed(std::int64_t firings, std::int64_t misfires) const noexcept {
        const double steps = (ratio(firings, misfires) - gone_at) * dispersion / loss;
        return steps <= 0.0 ? 0 : static_cast<std::int64_t>(std::ceil(steps - 1e-9));
    }
};

/// Firings of the test of fixed size with both errors at most `error`: the smallest n with a limit c for which P(X > c | good) and
/// P(X <= c | bad) are (exact binomial).
[[nodiscard]] inline std::int64_t fixed_size(double good, double bad, double error) noexcept {
    const auto at_most = [](std::int64_t c, std::int64_t n, double p) {  // P(X <= c)
        return c >= n ? 1.0 : 1.0 - incomplete_beta(static_cast<double>(c) + 1.0, static_cast<double>(n - c), p);
    };
    constexpr int kMostCount = 400;
    for (std::int64_t c = 0; c < kMostCount; ++c) {
        std::int64_t low = c;  // P(X <= c | bad) falls with n
        std::int64_t high = c + 1;
        while (at_most(c, high, bad) > error && high < INT64_C(1) << 40) high *= 2;
        while (high - low > 1) {
            const std::int64_t middle = low + (high - low) / 2;
            (at_most(c, middle, bad) > error ? low : high) = middle;
        }
        if (1.0 - at_most(c, high, good) <= error) return high;
    }
    return INT64_C(1) << 40;
}

/// The plan for 0 < good < bad < 1, 0 < error < 0.5, dispersion >= 1; all else gives a plan whose `most` is 0. Truncated at three
/// times the test of fixed size (NIST/SEMATECH e-Handbook 6.2.6), times the dispersion.
[[nodiscard]] inline SequentialPlan sequential_plan(double good, double bad, double error,
                                                    double dispersion = 1.0) noexcept {
    SequentialPlan plan;
    if (!(good > 0.0 && good < bad && bad < 1.0 && error > 0.0 && error < 0.5 && dispersion >= 1.0)) return plan;
    plan.good = good;
    plan.bad = bad;
    plan.error = error;
    plan.dispersion = dispersion;
    plan.gain = std::log(bad / good);
    plan.loss = std::log1p(-good) - std::log1p(-bad);
    plan.gone_at = std::log(error);
    plan.remains_at = std::log(2.0 / error);
    constexpr double kTruncation = 3.0;
    plan.most = static_cast<std::int64_t>(
        std::ceil(kTruncation * dispersion * static_cast<double>(fixed_size(good, bad, error))));
    return plan;
}

}  // namespace kurbel
