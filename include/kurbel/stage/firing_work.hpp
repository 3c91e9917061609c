// What passes between the WorkEstimator and the Decision: one firing's work, and what came of it.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <limits>

#include "kurbel/core/config.hpp"

namespace kurbel {

/// Work of one firing, before it is judged. Work is over inertia, rad^2/s^2.
template <class Real>
struct FiringWork {
    std::int64_t tdc_tick = 0;
    std::int64_t bin = 0;  ///< bin that begins at its TDC
    int place = 0;         ///< in the firing order, of the frame in force when it was given out
    bool phase_known = false;
    bool phase_lost = false;  ///< it was known and is not now
    bool complete = false;    ///< enough of its window was there; else only time, speed and load are meaningful
    bool cut = false;         ///< fuel was cut for it, or may have been
    bool changing = false;    ///< someone burned in its torque balance who did not while the pattern was learned
    bool mixed =
        false;  ///< fuel changed in its balance or window, or that is not whole: nothing is to be learned from it
    bool short_window = false;  ///< the stream began or ended within it
    bool began_before = false;  ///< the stream began within it
    bool sized = false;         ///< expected work comes from geometry, inertia and load, not from a guess
    bool rehearsal =
        false;  ///< it will be given out once more, when the engine is known better: not to be judged for good yet
    bool rehearsed = false;  ///< it was given out before, and the engine's scatter was learned from it then
    bool failing = false;    ///< see Outlook
    bool little = false;     ///< it should do less than half of what firings did while the pattern was learned
    bool dead = false;       ///< this cylinder was dead all the while that the pattern was learned
    Real load = 0;           ///< at intake closing; NaN where unknown
    Real speed_rpm = 0;
    Real acceleration = 0;    ///< rad/s^2 over the firing interval, healthy pattern removed
    Real expected = 0;        ///< work of a healthy firing here
    Real lost = 0;            ///< share of it that is missing against this cylinder's healthy pattern
    Real lost_se = 0;         ///< its standard error from measurement, pattern and window
    Real pattern_doubt = 0;   ///< variance of the pattern over that of one firing's measurement: 1/n after n cycles
    Real known_variance = 0;  ///< part of lost_se squared that not every firing has: a short window
    Real offset = 0;          ///< share by which this cylinder's healthy pattern lies below the others
    /// Logarithm of the likelihood ratio of lost work over none where slow torque may stand beside both; infinite where nobody
    /// asked, for the firing seems to have done its work.
    Real loss_ratio = std::numeric_limits<Real>::infinity();
    Real strange = 1;  ///< residual that neither health nor misfire explains, in its healthy mean square; 1 = usual

    /// What this firing tells of how firings scatter, over what one tells that is measured as usual against a pattern that is known:
    /// the inverse of their variances. 0 to 1.
    [[nodiscard]] Real weight() const noexcept {
        const Real square = lost_se * lost_se;
        return square > Real(0) ? std::max(square - known_variance, Real(0)) / ((Real(1) + pattern_doubt) * square)
                                : Real(0);
    }
};

/// What the Decision expects of the firings to come, by place.
template <class Real>
struct Outlook {
    std::array<Real, kMaxCylinders> limits{};   ///< share of lost work above which one is a misfire
    std::array<bool, kMaxCylinders> failing{};  ///< who has begun to fail together with others, see FailingSets
};

/// What the first look at an engine found among the firings that waited, before any of them is judged.
template <class Real>
struct FirstFindings {
    Real scatter = 0;                                   ///< deviation of those that lost nothing
    int healthy = 0;                                    ///< how many they are
    std::array<std::uint8_t, kMaxCylinders> firings{};  ///< of each place
    std::array<std::uint8_t, kMaxCylinders> lost{};     ///< those that lost their work
};

/// What the Decision tells the stages that learn.
template <class Real>
struct Feedback {
    bool misfire = false;  ///< called a misfire, or would be one but for an obstacle
    bool learn = false;    ///< may be learned from at all
    Real probability = 0;  ///< that the work was lost
    /// Logarithm of the likelihood ratio of "lost one work more than the pattern has it" over "as the pattern has it".
    Real loss_ratio = 0;
    /// Where the pattern is wrong at this place: the lost share, against it, of firings that are healthy; else 0.
    Real healthy_level = 0;
};

}  // namespace kurbel
