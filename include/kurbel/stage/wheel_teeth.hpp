// What the teeth of a wheel are like, whatever the crank does: how uneven, which of them stand out, how sure that is.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <span>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/wheel_basis.hpp"

namespace kurbel {

/// The rest of the teeth's places beyond the slow patterns that the crank can make, which is wheel and jitter alone, and what follows from it for
/// these patterns. How uneven the wheel is at all is found on the way (empirical Bayes by EM).
class WheelTeeth {
  public:
    /// `rest`, degrees by tooth, is the mean of `weight` cycles in `blocks` blocks; `rest_square`: sum over cycles of its square over all
    /// teeth. `basis` outlives it.
    WheelTeeth(const WheelBasis& basis, int teeth, const std::array<double, kMaxTeeth>& rest, double rest_square,
               double weight, int blocks) noexcept
        : basis_(basis), teeth_(teeth), rest_(rest) {
        find_noise(rest_square, weight, blocks);
        find_bent();
        for (int m = 0; m < basis_.size(); ++m) bent_in_[at(m)] = basis_.project(m, bent_.data());
    }

    /// Patterns over the teeth that the crank cannot make.
    [[nodiscard]] int free() const noexcept { return std::max(0, teeth_ - 1 - basis_.size()); }
    [[nodiscard]] double jitter_square() const noexcept { return jitter_square_; }  ///< of one edge
    [[nodiscard]] double uneven() const noexcept { return uneven_; }                ///< variance between teeth
    [[nodiscard]] double rest(int j) const noexcept { return rest_[at(j)]; }
    [[nodiscard]] double rest_noise() const noexcept { return rest_noise_; }  ///< variance of one tooth's rest()

    /// What is expected of the wheel in pattern `m` before anything of it is seen: what teeth that stand out do there, and its variance.
    [[nodiscard]] double expected(int m) const noexcept { return bent_in_[at(m)]; }
    [[nodiscard]] double expected_variance(int m) const noexcept {
        const double order = basis_.order(m);
        const double amplitude = kRunOut / (order * order);
        return uneven_ + 0.5 * amplitude * amplitude * 0.5 * teeth_;
    }

    /// Error of tooth `j` beyond the patterns, drawn towards what is usual; and its variance.
    [[nodiscard]] double error(int j) const noexcept {
        const double bent = beyond_patterns(j);
        return bent + shrink() * (rest_[at(j)] - bent);
    }
    [[nodiscard]] double variance(int j) const noexcept { return (1.0 - basis_.leverage(j)) * shrink() * rest_noise_; }

    /// One step of EM: the variance between teeth that explains the rest and the patterns of this mean and variance best.
    void find_uneven(std::span<const double> mean, std::span<const double> variance) noexcept {
        double sum = 0.0;
        double count = 0.0;
        if (free() > 0) {
            std::array<double, kMaxTeeth> plain{};
            for (int j = 0; j < teeth_; ++j) plain[at(j)] = rest_[at(j)] - beyond_patterns(j);
            double square = 0.0;
            for (int j = 0; j < teeth_; ++j) square += plain[at(j)] * plain[at(j)];
            sum += shrink() * shrink() * square + free() * shrink() * rest_noise_;
            count += free();
        }
        for (int m = 0; m < basis_.size(); ++m) {
            // Run-out and ovality are not the teeth's own.
            if (basis_.order(m) <= 2 && basis_.size() > 4) continue;
            const double off = mean[at(m)] - bent_in_[at(m)];
            sum += off * off + variance[at(m)];
            count += 1.0;
        }
        // Before any data: two patterns' worth of what is usual, so that few teeth cannot look perfect by chance.
        const double before = free() > 8 ? 0.0 : 2.0;
        uneven_ =
            std::max((sum + before * (kFirstUneven * kFirstUneven)) / (count + before), kLeastUneven * kLeastUneven);
    }

  private:
    static constexpr double kFirstJitter = 0.015;  // degrees, until more is known; with kFirstUneven values from memory
    static constexpr double kFirstUneven = 0.1;
    static constexpr double kLeastUneven = 0.002;
    static constexpr double kRunOut = 0.1;  // degrees of amplitude at order 1, falling with the square of the order
    static constexpr int kMostBent = 8;     // teeth that stand out
    static constexpr double kBent = 6.0;    // deviations by which they do

    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }

    [[nodiscard]] double shrink() const noexcept { return uneven_ / (uneven_ + rest_noise_); }

    void find_noise(double rest_square, double weight, int blocks) noexcept {
        if (free() == 0) return;
        double square = 0.0;
        for (int j = 0; j < teeth_; ++j) square += rest_[at(j)] * rest_[at(j)];
        // Scatter of the blocks around their mean is jitter; a cycle averages two edges of each tooth.
        const double scatter = std::max(rest_square - weight * square, 0.0);
        const double prior = 0.5 * kFirstJitter * kFirstJitter;
        const double observed = static_cast<double>(blocks - 1) * free();
        const double cycle_variance = (scatter + 4.0 * prior) / (std::max(observed, 0.0) + 4.0);
        jitter_square_ = 2.0 * cycle_variance;
        rest_noise_ = cycle_variance / weight;
    }

    /// Teeth that stand out of all others (bent, or beside the gap of an inductive sensor): their own error is taken as it is,
    /// so that it neither makes the others look uneven nor is drawn towards them.
    void find_bent() noexcept {
        if (free() < 8) return;
        std::array<double, kMaxTeeth> left = rest_;
        for (int round = 0; round < kMostBent; ++round) {
            // What each tooth explains of the rest, its traces at the others included: most of it at the worst one.
            int worst = 0;
            double own = 1.0;
            double explained = 0.0;
            double square = 0.0;
            for (int j = 0; j < teeth_; ++j) {
                square += left[at(j)] * left[at(j)];
                const double alone = 1.0 - basis_.leverage(j);
                if (alone < 0.1 || left[at(j)] * left[at(j)] <= explained * alone) continue;
                worst = j;
                own = alone;
                explained = left[at(j)] * left[at(j)] / alone;
            }
            const double others = (square - explained) / (free() - 1);
            if (explained < kBent * kBent * std::max(others, rest_noise_)) return;
            const double size = left[at(worst)] / own;
            bent_[at(worst)] += size;
            // What one tooth does to the rest: itself less its share in mean and patterns.
            for (int j = 0; j < teeth_; ++j) left[at(j)] += size / teeth_;
            left[at(worst)] -= size;
            for (int m = 0; m < basis_.size(); ++m) {
                const float* q = basis_.pattern(m);
                const double share = size * static_cast<double>(q[worst]);
                for (int j = 0; j < teeth_; ++j) left[at(j)] += share * static_cast<double>(q[j]);
            }
        }
    }

    /// What bent teeth leave beyond the patterns at tooth `j`.
    [[nodiscard]] double beyond_patterns(int j) const noexcept {
        double mean = 0.0;
        for (int i = 0; i < teeth_; ++i) mean += bent_[at(i)] / teeth_;
        double value = bent_[at(j)] - mean;
        for (int m = 0; m < basis_.size(); ++m) value -= bent_in_[at(m)] * static_cast<double>(basis_.pattern(m)[j]);
        return value;
    }

    const WheelBasis& basis_;
    int teeth_;
    std::array<double, kMaxTeeth> rest_;
    std::array<double, kMaxTeeth> bent_{};
    std::array<double, WheelBasis::kMost> bent_in_{};
    double rest_noise_ = 0.0;
    double uneven_ = kFirstUneven * kFirstUneven;
    double jitter_square_ = kFirstJitter * kFirstJitter;
};

}  // namespace kurbel
