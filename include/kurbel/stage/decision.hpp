// From the share of lost work to a verdict with a stated false-alarm chance.
#pragma once

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <limits>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/stage/firing_work.hpp"
#include "kurbel/stage/healthy_scatter.hpp"
#include "kurbel/stage/misfire_odds.hpp"
#include "kurbel/stage/pedal_rest.hpp"
#include "kurbel/stage/two_levels.hpp"
#include "kurbel/stage/usual_engine.hpp"

namespace kurbel {

/// Verdict of one firing.
template <class Real>
struct Judgement {
    Verdict verdict = Verdict::unjudged;
    Reason reason = Reason::none;
    Real severity = 0;
    Real evidence = 0;
    Real threshold = 0;
    Real probability = 0;  ///< that half of the work was lost, by a misfire or by a burn that was weak by nature
    Real weak = 0;         ///< the latter part of it, which no learning heeds, and verdicts only in doubt
    Feedback<Real> feedback{};
};

/// Judges firings and learns the healthy scatter from them.
template <class Real>
class Decision {
  public:
    using Limits = std::array<Real, kMaxCylinders>;

    void configure(const Config& config) noexcept {
        firings_ = config.engine.cylinders;
        firing_deg_ = static_cast<float>(config.engine.cycle_deg() / config.engine.cylinders);
        const auto accepted = static_cast<Real>(config.settings.false_alarm);
        normal_limit_ = normal_quantile(accepted);
        dearer_ = kUsualChance / accepted;
        reset();
    }

    void reset() noexcept {
        scatter_.begin(firings_);
        odds_.begin(firings_);
        levels_.begin();
        pedal_.begin();
        drift_.fill(0);
        dead_ = 0;
        recent_ = before_rehearsal_ = Recent{};
        rehearsed_bin_ = kNone;
        update_limits();
    }

    [[nodiscard]] Outlook<Real> outlook() const noexcept {
        Outlook<Real> outlook{limits_, {}};
        for (int k = 0; k < firings_; ++k) outlook.failing[static_cast<std::size_t>(k)] = odds_.fails_with_others(k);
        return outlook;
    }

    /// `learning`: the estimator does not know the engine yet; `young`: it knows less than it will soon.
    [[nodiscard]] Judgement<Real> judge(const FiringWork<Real>& firing, bool learning, bool young,
                                        bool phase_missing) noexcept {
        follow_rehearsals(firing);
        const bool starting = !is_running(firing);
        // What the engine did before it caught is among the firings that it is learned from, and is learned with them.
        const bool told_later = firing.rehearsal || firing.rehearsed;
        Judgement<Real> j = weigh(firing, learning, young,
                                  starting && !told_later ? Reason::cranking : obstacle(firing, phase_missing));
        j.probability += j.weak;
        if (starting) {
            j.verdict = Verdict::unjudged;
            j.reason = Reason::cranking;
        }
        return j;
    }

    /// What firings show that were looked at together, before any of them is judged: how healthy ones scatter, and who loses how many.
    void expect(const FirstFindings<Real>& found) noexcept {
        scatter_.settle(found.scatter, found.healthy);
        for (int k = 0; k < firings_; ++k) {
            const auto place = static_cast<std::size_t>(k);
            odds_.expect_rate(k, found.lost[place], found.firings[place]);
        }
        update_limits();
    }

  private:
    using Seen = typename MisfireOdds<Real>::Seen;
    using Places = std::uint16_t;  // a bit a place
    static_assert(kMaxCylinders <= 16);
    [[nodiscard]] static bool has(Places places, int place) noexcept { return ((places >> place) & 1) != 0; }
    static void set(Places& places, int place, bool in) noexcept {
        const auto bit = static_cast<Places>(1U << place);
        places = static_cast<Places>(in ? places | bit : places & ~bit);
    }

    /// What the firings just before were like.
    struct Recent {
        bool running = false;
        Places lost = 0;   ///< whose last firing was beyond its limit
        Real strange = 1;  ///< mean of the last windows
        Real losing = 0;   ///< share of the last firings beyond their limit
    };
    static constexpr std::int64_t kNone = INT64_MIN;

    // There the probability overrules the accepted chance, if that is the usual one.
    static constexpr Real kClearOdds = Real(1.5);
    // Between the two, whoever lost most of its work is called, where that is clearer still: by nature it may have been a little less.
    static constexpr Real kMostOdds = Real(4);
    static constexpr Real kLostBefore = Real(0.1);  // streams that begin with a charge that could not burn: a guess
    static constexpr Real kSpeaksForIt = Real(1);   // log-likelihood ratio
    static constexpr Real kCertain = Real(10);
    static constexpr Real kSaysSo = Real(2);  // odds by the reading alone
    static constexpr Real kUsualChance = Real(2e-5);
    // A third of what is expected may be all that a cold engine does, whose late spark the load channel does not tell. Once misfires
    // have shown what they read as, not quite half of that is the least (MisfireSize::half): weak burns that keep more are none.
    static constexpr Real kLeastLoss = Real(0.35);
    static constexpr Real kLeastGuess = Real(0.15);  // where the expected work itself is a guess
    static constexpr Real kGuessed = Real(0.05);     // what is clear is rarer there
    static constexpr Real kWhole = Real(1.3);
    // What is learned as healthy is chosen with more suspicion, for some firings too few matter less than misfires among them:
    // as if one of this many firings before the first had been a misfire.
    static constexpr Real kSuspicion = Real(50);
    static constexpr Real kStrangest = Real(25);  // mean square misfit: five deviations in every bin
    static constexpr Real kMost = Real(0.6);      // of the firings of the last two cycles
    static constexpr Real kLosingCycles = Real(2);
    static constexpr Real kUsuallyStrange = Real(2);  // times the usual mean square: common among calm windows
    static constexpr Real kAsLikely = Real(0.5);      // to have lost its work as to have been pushed
    static constexpr Real kUnrestCycles = Real(2);
    static constexpr float kOffLevel = 0.25F;
    static constexpr Real kDriftFirings = Real(6);
    static constexpr Real kLeastDrift = Real(0.2);   // half of what makes a misfire
    static constexpr Real kClearDrift = Real(4.5);   // deviations of the mean
    static constexpr Real kOfOneFiring = Real(0.9);  // of what is clear
    static constexpr Real kStalled_rpm = Real(250);

    /// The same where nothing but `reason` stands in the way.
    [[nodiscard]] Judgement<Real> weigh(const FiringWork<Real>& firing, bool learning, bool young,
                                        Reason reason) noexcept {
        Judgement<Real> j;
        j.reason = reason;
        if (!firing.rehearsal && firing.speed_rpm > Real(0))
            pedal_.take(static_cast<float>(firing.load), firing_deg_ / (6.0F * static_cast<float>(firing.speed_rpm)));
        // What happens without fuel tells nothing of how firings scatter.
        if (!firing.complete || firing.cut) return j;
        const Real healthy = scatter_.deviation(firing.place);
        const Real sd =
            std::sqrt((healthy * healthy * (Real(1) + firing.pattern_doubt) + firing.known_variance) * unrest(firing));
        const Real mean = scatter_.mean(firing.place);
        j.severity = firing.lost + firing.offset;
        j.evidence = (firing.lost - mean) / sd;
        const Seen seen{firing.place, firing.dead, firing.lost, mean, sd, healthy, firing.sized};
        j.probability = odds_.probability(seen, scatter_);
        j.threshold = limit(seen, firing.sized, j);
        // Who knows of clutch and road may doubt a misfire; it is told, and calls none, but what is usual here is learned without it.
        const Real unshaken = j.probability;
        const Real sceptical = odds_.probability_by(firing.loss_ratio, seen);
        j.probability = std::min(unshaken, sceptical);
        const Real unpushed = sceptical < unshaken ? sceptical / unshaken : Real(1);
        j.weak = (Real(1) - unshaken) * unpushed * odds_.weak_burn(seen, scatter_);
        if (j.reason != Reason::none) return j;
        const bool beyond = j.evidence > j.threshold;
        // A pattern of a few cycles may itself be what is odd; what it calls a misfire must not be kept from it for ever.
        j.feedback = {beyond && !learning, !firing.mixed, unshaken};
        if (learning) {
            j.reason = Reason::learning;
            return j;
        }
        if (!firing.mixed && firing.strange < kUsuallyStrange)
            j.feedback.loss_ratio = odds_.loss_ratio(firing.lost - (firing.dead ? Real(1) : Real(0)), seen, scatter_);
        if (!firing.dead) follow_losing(firing.place, beyond);
        if (beyond && unbelievable(firing)) {
            j.reason = Reason::transient;
            // The pattern may follow what all cylinders do; a window that nothing explains teaches nothing.
            j.feedback.misfire = false;
            j.feedback.learn = j.feedback.learn && firing.strange <= kStrangest;
            return j;
        }
        if (beyond && sceptical < kAsLikely) {
            j.reason = pedal_.still() ? Reason::rough_road : Reason::transient;
            // Neither an example of a misfire nor of health.
            j.feedback.learn = false;
            if (!firing.mixed && !firing.rehearsal) odds_.learn(seen, scatter_, j.probability, doubt(firing));
            return j;
        }
        // What a firing lost whose charge was drawn before the stream began may be of what happened then: a start, a cut that ended. It is no
        // misfire unless its cylinder misfires often enough to outweigh that.
        if (beyond && firing.began_before && !firing.dead &&
            odds_.shown_rate(firing.place) < kClearOdds * kLostBefore) {
            j.reason = Reason::no_sync;
            return j;
        }
        j.verdict = beyond ? Verdict::misfire : Verdict::fired;
        // Where even a whole combustion lost would stay below the limit, "fired" would be a guess, unless the work itself says so.
        if (!beyond && mean + j.threshold * sd > kWhole &&
            odds_.loss_ratio(firing.lost, seen, scatter_) > -std::log(kSaysSo)) {
            j.verdict = Verdict::unjudged;
            j.reason = firing.short_window ? Reason::no_sync : (young ? Reason::learning : Reason::low_torque);
        }
        if (!firing.mixed && !firing.rehearsal && move_level(firing, j.feedback)) return j;
        if (!firing.mixed && !firing.dead && !firing.rehearsal) follow_drift(firing, sd, unshaken, j.feedback);
        if (!firing.mixed && !firing.rehearsal) follow(firing, seen, unshaken);
        return j;
    }

    /// Evidence beyond which a firing counts as a misfire. The accepted chance of a false alarm speaks of healthy firings that scatter
    /// as they do on the whole. Where the probability, which knows what the last ones did, how often this cylinder misfires and how
    /// misfires read, says clearly otherwise, the limit is where it would not say so clearly any more. Where it says neither, but that
    /// most of the work was surely lost, be it by a misfire or by nature, that decides. Without load and geometry what a misfire reads as
    /// is a guess until some were seen, and so is a probability that is not very low.
    [[nodiscard]] Real limit(const Seen& seen, bool sized, const Judgement<Real>& j) const noexcept {
        const Real least = (least_loss(sized) - seen.mean) / seen.deviation;
        const Real rare = scatter_.quantile(normal_limit_);
        const Real healthy = as_probability(std::min(dearer_ / kClearOdds, Real(1)));
        const Real clearly_healthy = (sized || odds_.size_known() ? Real(1) : kGuessed) * healthy;
        const Real clearly_lost = as_probability(std::max(kClearOdds * dearer_, Real(1)));
        const Real most_lost = as_probability(std::max(kMostOdds * dearer_, Real(1)));
        Real loss = 0;
        if (j.evidence > rare && j.probability < clearly_healthy)
            loss = odds_.loss_at(clearly_healthy, seen, scatter_, seen.lost, Real(2) * kWhole);
        else if (j.evidence <= rare && j.probability > clearly_lost)
            loss = odds_.loss_at(clearly_lost, seen, scatter_, seen.mean, seen.lost);
        else if (j.evidence <= rare && j.probability > healthy &&
                 odds_.most_lost(seen.lost, seen, scatter_) > most_lost)
            loss = std::max(odds_.loss_at(healthy, seen, scatter_, seen.mean, seen.lost),
                            odds_.most_lost_at(most_lost, seen, scatter_, seen.mean, seen.lost));
        else
            return std::max(rare, least);
        return std::max((loss - seen.mean) / seen.deviation, least);
    }

    /// Scale of the variance where windows, this one and those before, hold more than health or misfire explain: their common
    /// scale is then not the learned one, as with Student's t. One odd window alone may be a misfire of a kind not seen yet.
    [[nodiscard]] Real unrest(const FiringWork<Real>& firing) noexcept {
        const Real scale = std::min(firing.strange, recent_.strange) / kUsuallyStrange;
        recent_.strange += (std::min(firing.strange, kStrangest) - recent_.strange) / (kUnrestCycles * Real(firings_));
        return std::max(scale, Real(1));
    }

    /// Whether this place works in two ways and the pattern lies between them: then it is to be moved to the healthy one, and
    /// what was learned of the place begins anew.
    [[nodiscard]] bool move_level(const FiringWork<Real>& firing, Feedback<Real>& feedback) noexcept {
        if (firing.dead != has(dead_, firing.place)) levels_.forget(firing.place);
        set(dead_, firing.place, firing.dead);
        if (firing.dead && firing.little) return false;  // what its pattern is off by is more than that
        levels_.add(firing.place, static_cast<float>(firing.lost));
        // Who is held dead and burns now and then reads as less than all lost.
        const float pattern = firing.dead ? 1.0F : 0.0F;
        if (!levels_.may_lie_below(firing.place, pattern - kOffLevel)) return false;
        const TwoLevels::Heaps heaps = levels_.heaps(firing.place, static_cast<float>(scatter_.common()));
        if (!heaps.two || heaps.level > pattern - kOffLevel) return false;
        // Where it worked so only once, while the pattern was being learned, it is the pattern that has moved since.
        if (static_cast<float>(firing.lost) > heaps.level + kOffLevel) return false;
        feedback.healthy_level = static_cast<Real>(heaps.level - pattern);
        levels_.forget(firing.place);
        scatter_.forget(firing.place);
        update_limit(firing.place);
        return true;
    }

    /// Firings that do not look like misfires and yet, one like the other, lose a share of their work, or gain it, have a pattern that
    /// did not keep up with the speed; it is moved to them.
    void follow_drift(const FiringWork<Real>& firing, Real sd, Real probability, Feedback<Real>& feedback) noexcept {
        float& kept = drift_[static_cast<std::size_t>(firing.place)];
        if (firing.strange > kUsuallyStrange) return;
        auto drift = static_cast<Real>(kept);
        // An exponential mean of constant n scatters like that of 2 n - 1 values.
        const Real deviation = sd / std::sqrt(Real(2) * kDriftFirings - Real(1));
        const Real clear = std::max(kLeastDrift, kClearDrift * deviation);
        // One firing alone is none, however far off: an edge was lost, or was one too many.
        const Real most = kOfOneFiring * kDriftFirings * clear;
        const Real off = std::clamp(firing.lost - scatter_.mean(firing.place) - drift, -most, most);
        drift += (Real(1) - probability) * off / kDriftFirings;
        kept = static_cast<float>(drift);
        if (std::fabs(drift) < clear) return;
        feedback.healthy_level = drift;
        kept = 0.0F;
        levels_.forget(firing.place);
    }

    /// Whether something else than a misfire is behind a loss: a window that neither health nor misfire explains (a clutch, a gear
    /// change), or most of all cylinders at once where the foot moved or is not known (overrun, a tip-out). The first misfires of an engine may
    /// look like nothing before, too; then the second look tells them from slow torque.
    [[nodiscard]] bool unbelievable(const FiringWork<Real>& firing) const noexcept {
        const bool looked_twice = firing.loss_ratio < std::numeric_limits<Real>::infinity();
        const bool like_nothing = firing.strange > kStrangest && !(looked_twice && firing.loss_ratio > kCertain);
        return !firing.dead && (like_nothing || (firings_ > 2 && nearly_all_lose() && !pedal_.still()));
    }

    /// Whether a clutch, or a pattern that lags behind the pedal, may be behind what a firing seems to have lost, and behind the next loss, too. Of
    /// one cylinder hardly, where the window is like others (like usual ones, where the foot has moved) and slow torque does not explain it as
    /// well. Of several hardly, while the foot is still; where nobody tells that, the window has to be like others.
    [[nodiscard]] typename MisfireOdds<Real>::Doubt doubt(const FiringWork<Real>& firing) const noexcept {
        const bool moved = firing.load == firing.load && !pedal_.still();
        const bool calm = firing.strange < (moved ? Real(1) : kUsuallyStrange);
        return {.of_one = !calm || firing.loss_ratio < kSpeaksForIt,
                .of_several = !pedal_.still() && (moved || !calm),
                .loss_ratio = firing.loss_ratio};
    }

    void follow_losing(int place, bool lost) noexcept {
        recent_.losing += ((lost ? Real(1) : Real(0)) - recent_.losing) / (kLosingCycles * Real(firings_));
        set(recent_.lost, place, lost);
    }

    /// Most firings, and of each cylinder the last, with one exception: where two of three cylinders misfire, the third tells that it is they.
    [[nodiscard]] bool nearly_all_lose() const noexcept {
        const int lost = std::popcount(recent_.lost);
        return recent_.losing > kMost && lost >= firings_ - (firings_ > 3 ? 1 : 0);
    }

    /// Rehearsals go through the same firings several times: what the last ones of them were like is nothing to the first ones, which
    /// come next. A starter's firings would be judged as those of a running engine.
    void follow_rehearsals(const FiringWork<Real>& firing) noexcept {
        if (rehearsed_bin_ == kNone && firing.rehearsal) {
            before_rehearsal_ = recent_;
            odds_before_rehearsal_ = odds_.recent();
        } else if (rehearsed_bin_ != kNone && firing.bin <= rehearsed_bin_) {
            recent_ = before_rehearsal_;
            odds_.go_on_after(odds_before_rehearsal_);
        }
        rehearsed_bin_ = firing.rehearsal ? firing.bin : kNone;
    }

    [[nodiscard]] bool is_running(const FiringWork<Real>& firing) noexcept {
        recent_.running = recent_.running ? firing.speed_rpm > kStalled_rpm : firing.speed_rpm > Real(kRunning_rpm);
        return recent_.running;
    }

    [[nodiscard]] static Reason obstacle(const FiringWork<Real>& firing, bool phase_missing) noexcept {
        if (firing.cut) return Reason::fuel_cut;
        if (phase_missing) return Reason::no_phase;
        if (!firing.complete) return Reason::no_sync;
        if (firing.changing) return Reason::transient;
        return Reason::none;
    }

    /// The scatter is learned by the probabilities, not by the verdicts: many firings that are each a little doubtful betray a cylinder
    /// that misfires at the edge of what can be seen (expectation-maximisation of a two-part mixture).
    void follow(const FiringWork<Real>& firing, const Seen& seen, Real probability) noexcept {
        const Real least_rate = Real(1) / (scatter_.count(firing.place) + kSuspicion);
        const Real suspicion = odds_.suspicion(seen, least_rate);
        odds_.learn(seen, scatter_, probability, doubt(firing));
        sized_ = firing.sized;
        // What makes this window uncertain, a young pattern or unrest, is no scatter of the engine.
        const Real healthy = scatter_.deviation(firing.place);
        if (!firing.dead && !firing.rehearsed)
            scatter_.learn(firing.place, firing.lost, seen.deviation * seen.deviation - healthy * healthy,
                           Real(1) - suspicion);
        update_limit(firing.place);
    }

    [[nodiscard]] static Real as_probability(Real odds) noexcept { return odds / (Real(1) + odds); }

    [[nodiscard]] Real least_loss(bool sized) const noexcept {
        return sized ? odds_.half_lost(kLeastLoss) : kLeastGuess;
    }

    void update_limits() noexcept {
        for (int k = 0; k < firings_; ++k) update_limit(k);
    }

    void update_limit(int place) noexcept {
        limits_[static_cast<std::size_t>(place)] = std::max(
            least_loss(sized_), scatter_.mean(place) + scatter_.quantile(normal_limit_) * scatter_.deviation(place));
    }

    int firings_ = 0;
    float firing_deg_ = 180.0F;  // crank degrees from one firing to the next
    bool sized_ = true;
    Places dead_ = 0;  // which were held dead when last judged
    Recent recent_{};
    Recent before_rehearsal_{};
    typename MisfireOdds<Real>::Recent odds_before_rehearsal_{};
    std::int64_t rehearsed_bin_ = kNone;  // of the last firing, if it will come once more
    Real normal_limit_ = Real(4.1);
    Real dearer_ = Real(1);  // a false alarm, than usual: who accepts a tenth of them asks for ten times the odds
    HealthyScatter<Real> scatter_{};
    MisfireOdds<Real> odds_{};
    TwoLevels levels_{};
    PedalRest pedal_{};
    Limits limits_{};
    std::array<float, kMaxCylinders> drift_{};
};

}  // namespace kurbel
