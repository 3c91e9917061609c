// Whether cylinders are dead at all, over everything that may surround the crank.
#pragma once

#include <limits>

#include "kurbel/stage/log_sum.hpp"

namespace kurbel {

/// Sums what each surrounding tells: "some cylinders are dead" against "none is" is asked of all of them together (Bayesian model
/// averaging: Hoeting et al., Statistical Science 14:382-417, 1999, from memory), for a wheel that is not true may stand on many gearboxes alike, and
/// the one gearbox by which a dead pair explains a wheel's error best should not decide. `Explanation` is whatever stands behind one.
template <class Real, class Explanation>
class MissingOdds {
  public:
    /// The best explanation of one kind.
    struct Best {
        bool any = false;
        Real evidence = 0;
        int around = 0;
        Explanation explanation{};
    };

    /// One surrounding: log-evidence of what explains it best, and the part of it that a set of dead cylinders adds, if `some` are dead there.
    void add(int around, Real evidence, Real gain, bool some, const Explanation& explanation) noexcept {
        none_sum_.add(some ? evidence - gain : evidence);
        if (some) some_sum_.add(evidence);
        any_some_ = any_some_ || some;
        Best& best = some ? some_ : none_;
        if (!best.any || evidence > best.evidence) best = {true, evidence, around, explanation};
    }

    /// Whether a dead set explains most in one surrounding at least.
    [[nodiscard]] bool any_dead() const noexcept { return any_some_; }
    /// Log-odds of "some are dead".
    [[nodiscard]] Real odds() const noexcept {
        return any_some_ ? some_sum_.value() - none_sum_.value() : std::numeric_limits<Real>::lowest();
    }

    /// What explains most among the surroundings of which some, or none, are dead; of all where there is no such one.
    [[nodiscard]] const Best& best(bool some) const noexcept {
        const Best& wanted = some ? some_ : none_;
        return wanted.any ? wanted : (some ? none_ : some_);
    }

  private:
    bool any_some_ = false;
    LogSum<Real> some_sum_{};
    LogSum<Real> none_sum_{};
    Best some_{};
    Best none_{};
};

}  // namespace kurbel
