// How much work there is where that was guessed.
#pragma once

#include <algorithm>
#include <cmath>
#include <limits>

namespace kurbel {

/// Prior density of the logarithm of how many times the guessed work there is. Inertia is within some tenths of the usual one for its volume in
/// most engines, a fifth of it in racing motorcycles and three times in trucks (engineering ranges, from memory): a normal distribution, and a wide
/// one for one engine in ten.
template <class Real>
struct GuessedSize {
    static constexpr int kSteps = 8;
    [[nodiscard]] Real operator()(Real log_size) const noexcept {
        constexpr Real kRarely = Real(0.1);
        return (Real(1) - kRarely) * normal(log_size, Real(0.35)) + kRarely * normal(log_size, Real(1.1));
    }
    /// Normal density, but for a factor.
    [[nodiscard]] static Real normal(Real value, Real deviation) noexcept {
        return std::exp(Real(-0.5) * value * value / (deviation * deviation)) / deviation;
    }
};

/// The same of work that was told, by nothing but which engines there are.
template <class Real>
struct DisbelievedSize {
    static constexpr int kSteps = 22;
    Real log_unusual = 0;  ///< logarithm of what was told over what would have been guessed
    [[nodiscard]] Real operator()(Real log_size) const noexcept { return GuessedSize<Real>{}(log_unusual + log_size); }
};

/// The same of work that is known from what was told: that is right but for how it was measured, or it slipped, by a power of ten of some unit
/// perhaps (common practice, no source), and there is such an engine.
template <class Real>
struct ToldSize {
    static constexpr int kSteps = 22;
    Real log_unusual = 0;  ///< logarithm of what was told over what would have been guessed
    [[nodiscard]] Real operator()(Real log_size) const noexcept {
        constexpr Real kSlips = Real(0.02);
        const Real told = (Real(1) - kSlips) * GuessedSize<Real>::normal(log_size, Real(0.15)) +
                          kSlips * GuessedSize<Real>::normal(log_size, Real(2));
        return told * DisbelievedSize<Real>{log_unusual}(log_size);
    }
};

/// How many times the expected work there is: the mean of its logarithm, where `evidence` tells, of a logarithm, the log-likelihood of what was
/// seen, and `prior` what is thought before.
template <class Real, class Prior, class Evidence>
[[nodiscard]] Real likeliest_size(const Prior& prior, const Evidence& evidence) noexcept {
    constexpr Real kStep = Real(0.23);
    Real total = 0;
    Real sum = 0;
    Real most = std::numeric_limits<Real>::lowest();
    for (int step = -Prior::kSteps; step <= Prior::kSteps; ++step) {
        const Real log_size = kStep * Real(step);
        const Real log = evidence(log_size) + std::log(prior(log_size) + std::numeric_limits<Real>::min());
        const Real less = std::exp(std::min(most - log, Real(0)));
        total *= less;
        sum *= less;
        most = std::max(most, log);
        const Real weight = std::exp(log - most);
        total += weight;
        sum += weight * log_size;
    }
    return std::exp(sum / total);
}

}  // namespace kurbel
