// The set of cylinders whose missing work explains a pattern best.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/bank_row.hpp"
#include "kurbel/stage/cylinder_life.hpp"

namespace kurbel {

/// Searches sets of cylinders by flipping one at a time from several starts: from none, from each cylinder alone, and from sets
/// that lie evenly in the firing order (two a revolution apart, a bank whose firings take turns with the other's) or are another bank, none of
/// whose parts need explain anything alone.
/// `Square` and `Side` are the quadratic and linear part of the log-likelihood in the cylinders' missing shares.
template <class Real, class Square, class Side>
class MissingSearch {
  public:
    using Set = std::array<bool, kMaxCylinders>;

    using Prior = std::array<Real, kMaxCylinders>;

    /// Share of the expected work that each cylinder of a set misses: from `least` to `dead` where they burn weakly; where they don't burn
    /// all of it, which expected work that is not quite right makes from `dead` to `most`.
    struct Sizes {
        Real least;
        Real dead;
        Real most;
        Real error;      ///< of the expected work, standard deviation
        Real other = 1;  ///< times the expected work, where that may be another one
    };

    /// `prior`: log-odds of each cylinder to miss its work; `life`: what their firings say to being dead, to which weak ones say nothing;
    /// `evenly`: log of how much likelier each one is to be dead as member of a set that divides the firing order evenly;
    /// `dead`: of how much likelier it is that each of them is dead, to being weak that says nothing.
    MissingSearch(const Square& quadratic, const Side& linear, int cylinders, const Sizes& sizes, const Prior& prior,
                  const CylinderLife<Real>& life, bool four_stroke, const Prior& evenly = {},
                  const Prior& dead = {}) noexcept
        : quadratic_(quadratic),
          linear_(linear),
          cylinders_(cylinders),
          four_stroke_(four_stroke),
          sizes_(sizes),
          evenly_(evenly),
          dead_(dead),
          prior_(prior),
          all_lives_(life.of_all(lives_)) {}

    /// Finds the best set; returns its log-probability over that of "none".
    [[nodiscard]] Real best(Set& set) const noexcept {
        Real best_value = 0;
        set.fill(false);
        Tops tops;
        const auto try_set = [&](Set trial) noexcept {
            const Real value = climb(trial, tops);
            if (value > best_value) {
                best_value = value;
                set = trial;
            }
        };
        const auto try_from = [&](int first, int step) noexcept {
            Set trial{};
            for (int k = first; k < cylinders_; k += step) trial[static_cast<std::size_t>(k)] = true;
            try_set(trial);
        };
        try_from(cylinders_, 1);
        for (int step = 2; step <= cylinders_; ++step) {
            if (cylinders_ % step != 0) continue;
            for (int first = 0; first < step; ++first) try_from(first, step);
        }
        for (int row = 0; row < rows(); ++row) try_set(bank_in(row));
        return best_value;
    }

    /// Log-probability of a set over that of "none".
    [[nodiscard]] Real of(const Set& set) const noexcept {
        return value(gather(set).sums, set, std::numeric_limits<Real>::lowest()).most();
    }

    /// The likeliest share of the expected work that each member of a set misses.
    [[nodiscard]] Real size(const Set& set) const noexcept {
        const Sums sums = gather(set).sums;
        if (!(sums.square > Real(0))) return Real(1);
        const Value at = value(sums, set, std::numeric_limits<Real>::lowest());
        return at.dead >= at.weak ? at.dead_size : at.weak_size;
    }

    /// Log-likelihood ratio of "cylinder k alone is missing" over "none is".
    [[nodiscard]] Real alone(int k) const noexcept {
        const Real square = quadratic_(k, k);
        if (!(square > Real(0))) return Real(0);
        const Real missing = std::clamp(linear_[k] / square, sizes_.least, sizes_.most);
        return missing * linear_[k] - Real(0.5) * missing * missing * square;
    }

  private:
    // Cylinders that lie evenly in the firing order often share what feeds or fires them: two a revolution apart an ignition coil,
    // a bank its fuel rail or its module. Log of how much likelier each further one then fails, too (common
    // practice, no source).
    static constexpr Real kShared = Real(2);
    // What such a set shows at whole orders alone, masses that nobody told and a wheel's error show, too.
    static constexpr Real kMostEven = Real(2.5);

    // Log-odds that the work is the one that was expected first (channels of torque are as usual as those of charge, but few of them stand where
    // the engine turns itself; common practice, no source).
    static constexpr Real kLessLikely = Real(1);

    struct Sums {
        Real linear = 0;
        Real square = 0;
        Real prior = 0;
        Real evenly = 0;
        Real dead = 0;
        typename CylinderLife<Real>::Sums life{};
        int count = 0;
    };

    /// A set, what its members add up to, and what each cylinder shares with them.
    struct Gathered {
        Set set{};
        Sums sums{};
        std::array<Real, kMaxCylinders> shared{};
    };

    [[nodiscard]] Gathered gather(const Set& set) const noexcept {
        Gathered at;
        for (int k = 0; k < cylinders_; ++k)
            if (set[static_cast<std::size_t>(k)]) flip(at, k);
        return at;
    }

    /// Sums after cylinder k joined or left.
    [[nodiscard]] Sums flipped(const Gathered& at, int k) const noexcept {
        const auto c = static_cast<std::size_t>(k);
        const Real sign = at.set[c] ? Real(-1) : Real(1);
        Sums sums = at.sums;
        sums.linear += sign * linear_[k];
        sums.square += sign * quadratic_(k, k) + Real(2) * sign * at.shared[c];
        sums.prior += sign * prior_[c];
        sums.evenly += sign * evenly_[c];
        sums.dead += sign * dead_[c];
        sums.life.weight += sign * lives_[c].weight;
        sums.life.excess += sign * lives_[c].excess;
        sums.count += at.set[c] ? -1 : 1;
        return sums;
    }

    void flip(Gathered& at, int k) const noexcept {
        at.sums = flipped(at, k);
        bool& member = at.set[static_cast<std::size_t>(k)];
        member = !member;
        const Real sign = member ? Real(1) : Real(-1);
        for (int l = 0; l < cylinders_; ++l)
            if (l != k) at.shared[static_cast<std::size_t>(l)] += sign * quadratic_(k, l);
    }

    /// Log-probabilities over that of "none": of a set that is dead and of one that is weak.
    struct Value {
        Real dead = 0;
        Real weak = 0;
        Real dead_size = 1;
        Real weak_size = 1;
        [[nodiscard]] Real most() const noexcept { return std::max(dead, weak); }
    };

    /// Where the first of them cannot be more than `reached`, it is any number up to that.
    [[nodiscard]] Value value(const Sums& sums, const Set& set, Real reached) const noexcept {
        Value at;
        if (sums.count == 0 || sums.square <= Real(0)) return at;
        const Real missing = sums.linear / sums.square;
        // The nearer one of two that may be the work.
        const Real work = missing * missing > sizes_.other ? sizes_.other : Real(1);
        const auto orders = [&sums](Real size) { return size * sums.linear - Real(0.5) * size * size * sums.square; };
        const bool evenly = lies_evenly(set, sums.count);
        const Real prior = sums.prior + (evenly || is_bank(set, sums.count) ? kShared * Real(sums.count - 1) : Real(0));
        const Real most = work * (evenly ? std::min(sizes_.most, kMostEven) : sizes_.most);
        const Real error =
            work * sizes_.error * (sizes_.most > kMostEven && !evenly ? std::max(missing, Real(1)) : Real(1));
        const Real known = Real(1) / (error * error);
        at.dead_size = std::clamp((sums.linear + work * known) / (sums.square + known), sizes_.dead, most);
        at.weak_size = std::clamp(missing, sizes_.least, sizes_.dead);
        at.weak = prior + orders(at.weak_size);
        const Real off = (at.dead_size - work) / error;
        at.dead = prior + orders(at.dead_size) - Real(0.5) * off * off + (evenly ? sums.evenly : Real(0)) + sums.dead;
        if (work > Real(1)) at.dead -= price(work, error * error * sums.square);
        at.dead += CylinderLife<Real>::scatter(sums.life, all_lives_, std::max(reached, at.weak) - at.dead);
        return at;
    }

    /// Logarithm of how much less likely a set is with that other `work`: it is the less likely one, and spreads over more sizes, being as wide in
    /// share of itself. `told`: information of the orders on the size, times its variance.
    [[nodiscard]] Real price(Real work, Real told) const noexcept {
        return kLessLikely + Real(0.5) * std::log((Real(1) + told) / (Real(1) + told / (work * work)));
    }

    /// Whether the `count` members of the set divide the firing order evenly.
    [[nodiscard]] bool lies_evenly(const Set& set, int count) const noexcept {
        if (!four_stroke_ || count < 2 || cylinders_ % count != 0 || count == cylinders_) return false;
        const int step = cylinders_ / count;
        int first = 0;
        while (!set[static_cast<std::size_t>(first)]) ++first;
        for (int k = first; k < cylinders_; k += step)
            if (!set[static_cast<std::size_t>(k)]) return false;
        return first < step;
    }

    /// Rows of banks that do not take turns, see BankRow.
    [[nodiscard]] int rows() const noexcept {
        return four_stroke_ && cylinders_ == BankRow::kFirings ? BankRow::kRows : 0;
    }
    [[nodiscard]] static Set bank_in(int row) noexcept {
        Set bank{};
        for (int k = 0; k < BankRow::kFirings; ++k) bank[static_cast<std::size_t>(k)] = BankRow::second(row, k);
        return bank;
    }
    [[nodiscard]] bool is_bank(const Set& set, int count) const noexcept {
        if (2 * count != BankRow::kFirings) return false;
        for (int row = 0; row < rows(); ++row)
            if (set == bank_in(row)) return true;
        return false;
    }

    /// Sets from which no flip leads up: most climbs end on the same few, and need not look around there once more.
    class Tops {
      public:
        [[nodiscard]] bool hold(const Set& set) const noexcept {
            return std::find(set_.begin(), set_.begin() + count_, set) != set_.begin() + count_;
        }
        void add(const Set& set) noexcept {
            if (count_ < kRoom) set_[static_cast<std::size_t>(count_++)] = set;
        }

      private:
        static constexpr int kRoom = 8;
        int count_ = 0;
        std::array<Set, kRoom> set_;
    };

    /// From a set upwards, which it becomes; returns its value.
    [[nodiscard]] Real climb(Set& set, Tops& tops) const noexcept {
        Gathered at = gather(set);
        Real reached = value(at.sums, set, std::numeric_limits<Real>::lowest()).most();
        for (int round = 0; round < 2 * cylinders_ && !tops.hold(at.set); ++round) {
            int best_flip = -1;
            for (int k = 0; k < cylinders_; ++k) {
                Set other = at.set;
                other[static_cast<std::size_t>(k)] = !other[static_cast<std::size_t>(k)];
                const Real there = value(flipped(at, k), other, reached).most();
                if (there <= reached) continue;
                reached = there;
                best_flip = k;
            }
            if (best_flip < 0) {
                tops.add(at.set);
                break;
            }
            flip(at, best_flip);
        }
        set = at.set;
        return reached;
    }

    const Square& quadratic_;
    const Side& linear_;
    int cylinders_;
    bool four_stroke_;
    Sizes sizes_;
    Prior evenly_;
    Prior dead_;
    Prior prior_;
    std::array<typename CylinderLife<Real>::Sums, kMaxCylinders> lives_{};  // of each cylinder, and of all
    typename CylinderLife<Real>::Sums all_lives_;
};

}  // namespace kurbel
