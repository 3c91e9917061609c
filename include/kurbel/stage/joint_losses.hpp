// Which of the firings that stand in each other's windows lost their work, decided together.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>

namespace kurbel {

/// Some firings in a row, what each of them reads, and what each would read of a loss of each other. Losses are taken in one by one, the one
/// that explains most first, and all that were taken in are fitted together each time (orthogonal matching pursuit: Pati, Rezaiifar and
/// Krishnaprasad, Asilomar 1993, from memory). Where that does not end with whole losses and nothing beside them, the set is
/// looked for that is likeliest if a firing loses its work, give or take some, or does not (a normal mixture's posterior mode by local search):
/// between two firings that lost it a healthy one explains most, and a loss may stand for another beside it.
template <class Real>
class JointLosses {
  public:
    static constexpr int kMost = 12;

    /// Another firing, the next one in time. It is measured with this inverse variance; it deviates where it has lost more than `limit`, or,
    /// where the pattern has its loss (`dead`), where it has not. `failing`: it is expected to.
    void add(Real reading, Real precision, Real limit, bool dead, bool failing = false) noexcept {
        const auto i = static_cast<std::size_t>(count_++);
        reading_[i] = reading;
        precision_[i] = precision;
        limit_[i] = limit;
        dead_[i] = dead;
        failing_[i] = failing && !dead;
        any_fails_ = any_fails_ || failing_[i];
        any_ = any_ || failing_[i] || deviates(i, reading);
    }
    [[nodiscard]] int count() const noexcept { return static_cast<int>(count_); }
    [[nodiscard]] bool full() const noexcept { return count_ == kMost; }

    /// Whether any of them needs an explanation.
    [[nodiscard]] bool any() const noexcept { return any_; }

    /// `whole`: what a lost work reads as; `calm`: readings scatter as their precisions say, which the search relies on; `share`: function of two
    /// numbers that gives what the one firing reads of a whole loss of the other.
    template <class Share>
    void find(Real whole, bool calm, Share&& share) noexcept {
        whole_ = whole;
        Set set{};
        Set asked{};
        const auto ask = [&](std::size_t from) {
            if (asked[from]) return;
            asked[from] = true;
            for (std::size_t i = 0; i < size(); ++i)
                share_[i][from] = share(static_cast<int>(i), static_cast<int>(from));
        };
        pursue(set, ask);
        if (calm && (any_fails_ || !is_clean(set))) {
            for (std::size_t i = 0; i < size(); ++i) ask(i);
            search(set);
            if (any_fails_) search_from_failing(set);
        }
        fit(set, true);
    }

    /// Share of its work that firing `i` lost, or did more than the pattern has; 0 where it is as the pattern has it.
    [[nodiscard]] Real lost(int i) const noexcept { return lost_[static_cast<std::size_t>(i)]; }
    /// What it reads beside what the others have lost.
    [[nodiscard]] Real alone(int i) const noexcept { return left_[static_cast<std::size_t>(i)] + lost(i); }

  private:
    template <class T>
    using List = std::array<T, static_cast<std::size_t>(kMost)>;
    using Set = List<bool>;

    // Losses are whole ones give or take so much; one firing in fifty loses its work, nine in ten of those that are failing: log-odds.
    static constexpr Real kSpread = Real(0.3);
    static constexpr Real kRare = Real(4);
    static constexpr Real kOften = Real(2.2);
    static constexpr Real kClean = Real(0.3);  // whole losses and healthy firings read no further from one and zero

    [[nodiscard]] std::size_t size() const noexcept { return static_cast<std::size_t>(count_); }
    [[nodiscard]] Real whole(std::size_t i) const noexcept { return dead_[i] ? -whole_ : whole_; }
    [[nodiscard]] bool deviates(std::size_t i, Real lost) const noexcept {
        return (lost + (dead_[i] ? Real(1) : Real(0)) > limit_[i]) != dead_[i];
    }

    /// Takes in whom the limits call lost.
    template <class Ask>
    void pursue(Set& set, const Ask& ask) noexcept {
        Set taken{};
        for (;;) {
            fit(set, false);
            bool gave_back = false;
            for (std::size_t i = 0; i < size(); ++i)
                if (set[i] && !deviates(i, lost_[i])) {
                    set[i] = false;
                    gave_back = true;
                }
            if (gave_back) continue;
            std::size_t best = size();
            Real most = 0;
            for (std::size_t i = 0; i < size(); ++i) {
                if (set[i] || taken[i] || !deviates(i, left_[i])) continue;
                const Real gain = left_[i] * left_[i] * precision_[i];
                if (gain <= most) continue;
                most = gain;
                best = i;
            }
            if (best == size()) return;
            set[best] = taken[best] = true;
            ask(best);
        }
    }

    [[nodiscard]] bool is_clean(const Set& set) const noexcept {
        for (std::size_t i = 0; i < size(); ++i)
            if (std::fabs(left_[i] + lost_[i] - (set[i] ? whole(i) : Real(0))) > kClean * whole_) return false;
        return true;
    }

    /// Flips one firing, moves a loss to the next one, or parts it in two around it, as long as that is likelier.
    void search(Set& set) noexcept {
        Real best = likelihood(set);
        for (int round = 0; round < kMost; ++round) {
            const Set from = set;
            const auto try_it = [&](std::size_t a, std::size_t b, std::size_t c) {
                Set trial = from;
                for (const std::size_t i : {a, b, c})
                    if (i < size()) trial[i] = !trial[i];
                const Real value = likelihood(trial);
                if (value <= best) return;
                best = value;
                set = trial;
            };
            const std::size_t none = size();
            for (std::size_t i = 0; i < size(); ++i) {
                try_it(i, none, none);
                if (i + 1 < size() && from[i] != from[i + 1]) try_it(i, i + 1, none);
                if (i + 2 < size() && from[i] == from[i + 2] && from[i] != from[i + 1]) try_it(i, i + 1, i + 2);
            }
            if (set == from) return;
        }
    }

    /// Every other firing that has lost its work hides each of them, so that no step leads there from none: begins with those that are expected.
    void search_from_failing(Set& set) noexcept {
        Set other{};
        for (std::size_t i = 0; i < size(); ++i) other[i] = failing_[i];
        search(other);
        if (likelihood(other) > likelihood(set)) set = other;
    }

    /// Log-likelihood of the readings with these losses over that with none; far below any where one of them would be none.
    [[nodiscard]] Real likelihood(const Set& set) noexcept {
        constexpr Real kNever = Real(-1e9);
        Real value = fit(set, true);
        for (std::size_t i = 0; i < size(); ++i) {
            if (!set[i]) continue;
            if (!deviates(i, lost_[i])) return kNever;
            value += failing_[i] ? kOften : -kRare;
        }
        return value;
    }

    /// Fits the losses of a set, drawn towards whole ones or not; returns the log-likelihood at that.
    Real fit(const Set& set, bool drawn) noexcept {
        List<std::size_t> member{};
        std::size_t n = 0;
        for (std::size_t i = 0; i < size(); ++i)
            if (set[i]) member[n++] = i;
        const Real pull = drawn ? Real(1) / (kSpread * kSpread * whole_ * whole_) : Real(0);
        List<List<Real>> m;
        List<Real> right;
        List<Real> lost;
        for (std::size_t a = 0; a < n; ++a) {
            const std::size_t i = member[a];
            right[a] = lost[a] = precision_[i] * reading_[i] + pull * whole(i);
            for (std::size_t b = 0; b < n; ++b) {
                const std::size_t j = member[b];
                m[a][b] = Real(0.5) * (precision_[i] * share_[i][j] + precision_[j] * share_[j][i]);
            }
            m[a][a] += pull;
        }
        solve(m, lost, n);
        lost_.fill(Real(0));
        Real value = 0;
        for (std::size_t a = 0; a < n; ++a) {
            lost_[member[a]] = lost[a];
            value += Real(0.5) * (right[a] * lost[a] - pull * whole_ * whole_);
        }
        for (std::size_t i = 0; i < size(); ++i) {
            left_[i] = reading_[i];
            for (std::size_t a = 0; a < n; ++a) left_[i] -= share_[i][member[a]] * lost[a];
        }
        return value;
    }

    /// Gaussian elimination; the solution takes the place of the right side.
    static void solve(List<List<Real>>& m, List<Real>& right, std::size_t n) noexcept {
        for (std::size_t c = 0; c < n; ++c)
            for (std::size_t r = c + 1; r < n; ++r) {
                const Real factor = m[r][c] / m[c][c];
                for (std::size_t k = c; k < n; ++k) m[r][k] -= factor * m[c][k];
                right[r] -= factor * right[c];
            }
        for (std::size_t r = n; r-- > 0;) {
            for (std::size_t k = r + 1; k < n; ++k) right[r] -= m[r][k] * right[k];
            right[r] /= m[r][r];
        }
    }

    int count_ = 0;
    bool any_ = false;
    bool any_fails_ = false;
    Real whole_ = 1;
    List<Real> reading_;
    List<Real> precision_;
    List<Real> limit_;
    List<bool> dead_;
    List<bool> failing_;
    List<List<Real>> share_;
    List<Real> lost_;
    List<Real> left_;
};

}  // namespace kurbel
