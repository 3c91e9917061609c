// What single firings tell of whether a cylinder burns at all.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/usual_engine.hpp"

namespace kurbel {

/// Two signs of life that do not depend on what the pattern of the cycle looks like. Combustion scatters from cycle to cycle, and
/// a cylinder without it scatters as the measurement does: how much that is, is not known, so any share of the variance is
/// taken to be equally likely. And who now and then loses a work that stands out has one to lose.
template <class Real>
class CylinderLife {
  public:
    /// Sums over the members of a set, from which scatter() follows.
    struct Sums {
        Real weight = 0;
        Real excess = 0;  ///< weighted logarithm of the variance
    };

    void begin(int firings) noexcept {
        firings_ = firings;
        place_.fill(Place{});
    }

    /// What `count` firings of a place that were as the pattern has them scattered by, in the place of all that was known of it.
    void begin_with(int place, int count, Real mean, Real variance) noexcept {
        Place& p = at(place);
        p.count = static_cast<float>(count);
        p.mean = static_cast<float>(mean);
        p.variance = static_cast<float>(variance);
    }

    /// A firing that was as the pattern has it, but for `amplitude` of its work, with this probability.
    void follow(int place, Real amplitude, Real probability) noexcept {
        Place& p = at(place);
        p.count = std::min(p.count + static_cast<float>(probability), kMemory);
        const float share = static_cast<float>(probability) / std::max(p.count, 1.0F);
        const float off = static_cast<float>(amplitude) - p.mean;
        p.mean += share * off;
        // Few firings must not decide, however far off they are.
        const float most = p.count > kFew ? kFarthest * p.variance : off * off;
        p.variance += share * (std::min(off * off, most) - p.variance);
    }

    /// A place has died, or burns again, several times in a row: what it did before is no sign of anything, and to burn is one of life.
    void turn(int place, bool burns) noexcept {
        at(place) = Place{};
        if (burns) at(place).losses = kBurned;
    }

    /// A place is held dead: what it lost before was weighed against that, and only what it loses from now on speaks for it.
    void accuse(int place) noexcept { at(place).losses = std::min(at(place).losses, 0.0F); }

    /// A firing of which the logarithm of the likelihood ratio of "lost one more work" over "as the pattern has it" is `ratio`.
    void weigh_loss(int place, Real ratio) noexcept {
        const Real one = std::log1p(Real(kUsualMisfireRate) * (std::exp(std::min(ratio, Real(30))) - Real(1)));
        at(place).losses = std::clamp(at(place).losses + static_cast<float>(one), -kMostDoubt, kMostProof);
    }

    /// Logarithm of how much likelier the losses of this place are if it burns.
    [[nodiscard]] Real losses(int place) const noexcept { return static_cast<Real>(at(place).losses); }

    /// What one place adds to the sums.
    [[nodiscard]] Sums of(int place) const noexcept {
        const Place& p = at(place);
        if (p.count < kFewest || !(p.variance > 0.0F)) return {};
        // Healthy cylinders differ by a fifth in how they scatter (engineering range, from memory); a variance of n values, a
        // little heavy in the tail, is known to root(3/n).
        const Real weight = Real(1) / (kDifferent * kDifferent + Real(3) / static_cast<Real>(p.count));
        return {weight, weight * std::log(static_cast<Real>(p.variance))};
    }

    /// What all add; `each`: and each of them, by place.
    [[nodiscard]] Sums of_all(std::array<Sums, kMaxCylinders>& each) const noexcept {
        Sums all;
        for (int k = 0; k < firings_; ++k) {
            const Sums& one = each[static_cast<std::size_t>(k)] = of(k);
            all.weight += one.weight;
            all.excess += one.excess;
        }
        return all;
    }

    /// Logarithm of how much likelier the scatter of all places is if those in `set` do not burn than if all do. Where it is
    /// less than `least`, any number that is: who looks for more need not know it.
    [[nodiscard]] static Real scatter(const Sums& set, const Sums& all, Real least = -kMostScatter) noexcept {
        if (least >= kMostScatter) return -kMostScatter;
        if (!(all.weight > Real(0)) || set.weight >= all.weight) return Real(0);
        const Real less = set.excess - set.weight * all.excess / all.weight;
        const Real square = set.weight * (Real(1) - set.weight / all.weight);
        // Logarithms of the shares 0.1, 0.3 ... 0.9 that the measurement may have in the variance.
        constexpr std::array<Real, 5> kShares{Real(-2.3026), Real(-1.2040), Real(-0.6931), Real(-0.3567),
                                              Real(-0.1054)};
        std::array<Real, 5> each{};
        for (std::size_t i = 0; i < kShares.size(); ++i)
            each[i] = kShares[i] * (less - Real(0.5) * kShares[i] * square);
        const Real most = *std::max_element(each.begin(), each.end());  // a mean is no more than its largest part
        if (std::max(most, -kMostScatter) < least) return -kMostScatter;
        Real sum = 0;
        for (const Real one : each) sum += std::exp(one);
        return std::clamp(std::log(sum / static_cast<Real>(each.size())), -kMostScatter, kMostScatter);
    }

  private:
    static constexpr float kMemory = 200;  // firings
    static constexpr float kFewest = 4;    // firings that tell anything of their scatter
    static constexpr float kFew = 8;
    static constexpr float kFarthest = 9;  // times the variance
    static constexpr Real kDifferent = Real(0.4);
    static constexpr float kMostProof = 20;
    static constexpr float kMostDoubt = 3;
    static constexpr float kBurned = 6;  // as if it had lost one work that stood out
    static constexpr Real kMostScatter = Real(10);

    struct Place {
        float count = 0;
        float mean = 0;
        float variance = 0;
        float losses = 0;
    };

    [[nodiscard]] Place& at(int place) noexcept { return place_[static_cast<std::size_t>(place)]; }
    [[nodiscard]] const Place& at(int place) const noexcept { return place_[static_cast<std::size_t>(place)]; }

    int firings_ = 0;
    std::array<Place, kMaxCylinders> place_{};
};

}  // namespace kurbel
