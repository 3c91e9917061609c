// How much each kind of response explains of what looks like misfires.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "kurbel/stage/usual_engine.hpp"

namespace kurbel {

/// Log-likelihoods of the hypotheses of how a misfire shows, added up over firings that each may be one. The first `active` + 1 count.
template <std::size_t kHypotheses>
class ResponseEvidence {
  public:
    using Real = float;
    using All = std::array<Real, kHypotheses>;

    /// `first_mode`: number of the first of a list of torsion modes, the middle one of which is the usual one. Modes far from it are rare: the
    /// list reaches three deviations to either side. Those from `first_rare` on before it are rare, too. Where one misfire alone could be
    /// any of them, that decides.
    void begin(int first_mode, int first_rare) noexcept {
        evidence_.fill(0);
        for (int h = first_rare; h < first_mode; ++h) evidence_[static_cast<std::size_t>(h)] = -kRareKind;
        const int usual = (static_cast<int>(kHypotheses) - first_mode) / 2;
        for (int m = 0; first_mode + m < static_cast<int>(kHypotheses); ++m) {
            const Real off = Real(3) * static_cast<Real>(m - usual) / static_cast<Real>(usual);
            evidence_[static_cast<std::size_t>(first_mode + m)] = Real(-0.5) * off * off;
        }
    }

    /// Adds one firing. `gain`: of "work lost" over "healthy" under each hypothesis; any firing may have lost its work, by chance. Modes that are
    /// too fast to show at this speed would show as number 0 does.
    void add(const All& gain, int active) noexcept {
        constexpr Real kRare = Real(kUsualMisfireRate);
        for (int h = 0; h < static_cast<int>(kHypotheses); ++h) {
            Real& evidence = evidence_[static_cast<std::size_t>(h)];
            const Real g = gain[static_cast<std::size_t>(h <= active ? h : 0)];
            if (std::fabs(evidence) > Real(1e-6)) evidence *= Real(0.995);  // never among the denormal numbers
            if (g > Real(0))
                evidence += g > Real(30) ? g + std::log(kRare) : std::log(Real(1) - kRare + kRare * std::exp(g));
        }
        const Real least = most(active) - kMostLead;
        for (Real& evidence : evidence_) evidence = std::max(evidence, least);
    }

    /// Adds what many firings together gain under each hypothesis.
    void expect(const All& gain, int active) noexcept {
        for (int h = 0; h < static_cast<int>(kHypotheses); ++h)
            evidence_[static_cast<std::size_t>(h)] += gain[static_cast<std::size_t>(h <= active ? h : 0)];
    }

    /// Whether what was weighed tells anything.
    [[nodiscard]] bool any(int active) const noexcept { return most(active) >= kLittleEvidence; }
    /// Whether another hypothesis than the one in use explains clearly more.
    [[nodiscard]] bool prefers_another(int chosen, int active) const noexcept {
        return any(active) && most(active) > evidence_[static_cast<std::size_t>(chosen)] + kClearlyMore;
    }
    [[nodiscard]] int best(int active) const noexcept {
        return static_cast<int>(std::max_element(evidence_.begin(), end(active)) - evidence_.begin());
    }

  private:
    static constexpr Real kRareKind = Real(3);  // log-odds (common practice, no source: few engines run on test beds)
    static constexpr Real kLittleEvidence = Real(10);
    static constexpr Real kClearlyMore = Real(4);  // odds of 55 to 1
    // The kind of response may become another, as when a cold engine's late spark begins or ends: once in twenty thousand such firings, so
    // that no hypothesis is ever surer (a hidden Markov model's switching).
    static constexpr Real kMostLead = Real(10);

    [[nodiscard]] Real most(int active) const noexcept { return *std::max_element(evidence_.begin(), end(active)); }
    [[nodiscard]] auto end(int active) const noexcept { return evidence_.begin() + active + 1; }

    All evidence_{};
};

}  // namespace kurbel
