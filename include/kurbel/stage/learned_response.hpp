// What this engine's misfires do beyond what physics told of them.
#pragma once

#include <array>
#include <cstddef>

#include "kurbel/core/config.hpp"

namespace kurbel {

/// Deviation of the response from the physical one, per place in the firing order and bin, learned from misfires: one part that all
/// places share, one of its own for each place, and one that grows with how strongly torsion shows a place, for modes are not
/// quite where they were expected, and more of them are there. Each is a normal variable of known expected size, and its
/// posterior mean is told (mixed linear model: any textbook on Bayesian regression). By angle a mode is another at another
/// speed, so the twisted part is learned anew when the speed changes.
template <std::size_t kLength>
class LearnedResponse {
  public:
    using Real = float;
    using Response = std::array<Real, kLength>;
    using Places = std::array<Real, kMaxCylinders>;

    /// Expected sizes, shares of the lost work in one bin.
    struct Expected {
        Real common = 0;
        Real own = 0;
        Real twist = 0;  ///< per unit gain
    };

    /// `gain`: how strongly torsion shows each place.
    void begin(int firings, const Places& gain) noexcept {
        firings_ = firings;
        gain_ = gain;
        forget(Real(0));
    }

    /// The speed is another one: keeps `share` of what holds nearby.
    void forget(Real share) noexcept {
        misfires_ *= share;
        for (Real& weight : weight_) weight *= share;
        for (Response& sums : sum_)
            for (Real& value : sums) value *= share;
        twist_ = Twist{};
    }

    /// Learns the first `known` bins of one misfire of probability `trust`.
    void learn(int k, const Response& deviation, int known, Real trust) noexcept {
        const auto place = static_cast<std::size_t>(k);
        const Real gain = gain_[place];
        misfires_ = misfires_ * kKeep + trust;
        weight_[place] = weight_[place] * kKeep + trust;
        twist_.weight = twist_.weight * kKeep + trust;
        twist_.gain = twist_.gain * kKeep + trust * gain;
        twist_.square = twist_.square * kKeep + trust * gain * gain;
        Response& sum = sum_[place];
        for (std::size_t j = 0; j < static_cast<std::size_t>(known); ++j) {
            const Real more = trust * deviation[j];
            sum[j] = sum[j] * kKeep + more;
            twist_.all[j] = twist_.all[j] * kKeep + more;
            twist_.by_gain[j] = twist_.by_gain[j] * kKeep + gain * more;
        }
    }

    /// What was expected of the twist has grown by `more` per unit gain: of what was seen less deviates.
    void expect_twist(const Response& more) noexcept {
        for (std::size_t j = 0; j < kLength; ++j) {
            twist_.all[j] -= twist_.gain * more[j];
            twist_.by_gain[j] -= twist_.square * more[j];
            for (std::size_t k = 0; k < static_cast<std::size_t>(firings_); ++k)
                sum_[k][j] -= weight_[k] * gain_[k] * more[j];
        }
    }

    /// How many misfires have told, the last ones most.
    [[nodiscard]] Real misfires() const noexcept { return misfires_; }

    /// Writes the deviation of each place at a bin where windows scatter by the variance `noise`; returns the variance that the common
    /// part still has.
    Real at(int bin, Real noise, const Expected& expected, Places& deviation) const noexcept {
        const auto j = static_cast<std::size_t>(bin);
        const Real own = expected.own * expected.own;
        Real weight = Real(1) / (expected.common * expected.common);
        Real seen = 0;
        for (std::size_t k = 0; k < static_cast<std::size_t>(firings_); ++k) {
            const Real doubt = weight_[k] * own + noise;
            weight += weight_[k] / doubt;
            seen += sum_[k][j] / doubt;
        }
        const Real common = seen / weight;
        const Real twist = twist_at(j, noise, expected, common);
        const Real usual_gain = twist_.weight > Real(0) ? twist_.gain / twist_.weight : Real(0);
        for (std::size_t k = 0; k < static_cast<std::size_t>(firings_); ++k) {
            const Real shared = common + (gain_[k] - usual_gain) * twist;
            deviation[k] = shared + own * (sum_[k][j] - weight_[k] * shared) / (weight_[k] * own + noise);
        }
        return Real(1) / weight;
    }

  private:
    static constexpr Real kKeep = Real(1) - Real(1) / Real(200);  // memory in misfires

    /// Sums over misfires since the speed changed.
    struct Twist {
        Real weight = 0;
        Real gain = 0;
        Real square = 0;
        Response all{};
        Response by_gain{};
    };

    /// The twisted part per unit gain, where all places share `common`, and something more at this speed.
    [[nodiscard]] Real twist_at(std::size_t j, Real noise, const Expected& expected, Real common) const noexcept {
        if (!(expected.twist > Real(0)) || !(twist_.weight > Real(0))) return Real(0);
        const Real all = twist_.weight + noise / (expected.common * expected.common);
        const Real square = twist_.square + noise / (expected.twist * expected.twist);
        const Real seen_all = twist_.all[j] - twist_.weight * common;
        const Real seen = twist_.by_gain[j] - twist_.gain * common;
        return (seen * all - seen_all * twist_.gain) / (square * all - twist_.gain * twist_.gain);
    }

    int firings_ = 0;
    Real misfires_ = 0;
    Places gain_{};
    Places weight_{};
    std::array<Response, kMaxCylinders> sum_{};
    Twist twist_{};
};

}  // namespace kurbel
