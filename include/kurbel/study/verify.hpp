// Repair verification, live: is the misfire gone? Counts down while the engine runs. Rules of the core. For whole recordings see
// verify_recording.hpp.
#pragma once

#include <array>
#include <cstdint>
#include <type_traits>

#include "kurbel/core/types.hpp"
#include "kurbel/study/sequential_plan.hpp"

namespace kurbel {

enum class RepairState : std::uint8_t { running = 0, gone = 1, remains = 2, undecided = 3 };

[[nodiscard]] constexpr const char* name(RepairState state) noexcept {
    constexpr std::array<const char*, 4> names{"running", "gone", "remains", "undecided"};
    return names[static_cast<std::size_t>(state) % names.size()];
}

/// What is asked of a repair.
struct RepairQuestion {
    std::int32_t cylinder = 0;  ///< 1-based
    double limit = 0.01;  ///< rate from which the repair has failed, share of the cylinder's firings; 0.0001 to 0.5
    double confidence = 0.95;   ///< 1 - each error; 0.5 to 0.9999
    double false_alarm = 2e-5;  ///< chance that a healthy firing is called a misfire
    double dispersion = 1.0;    ///< how misfires cluster, see SequentialPlan; 1 = independent

    /// The rate of a good repair: a twentieth of the limit, or twice the false-alarm rate where that is more.
    [[nodiscard]] constexpr double good() const noexcept {
        return limit / 20.0 > 2.0 * false_alarm ? limit / 20.0 : 2.0 * false_alarm;
    }
};

/// The live test. Push every event; those of other cylinders and unjudged ones pass by. Where the phase is unknown, an event counts
/// whose candidates hold the cylinder, and rates are halved, since the pair's other cylinder fires as often.
///
/// Rules of the core: no allocation, no exceptions, trivially copyable; one thread at a time. The state becomes `gone`, `remains` or
/// `undecided` (see SequentialPlan: error limits, truncation, clustering) and stays, but for one thing: after `gone` a test of its own goes
/// on watching, and where that one finds the misfire back, `gone` turns into `remains`; both errors of that kind together stay
/// below 1 - confidence.
class RepairTest {
  public:
    RepairTest() = default;
    /// A question that cannot be asked (valid() says which) gives a test that ignores every event.
    explicit RepairTest(const RepairQuestion& question) noexcept : question_(question) {
        plan_ = sequential_plan(question.good(), question.limit, 1.0 - question.confidence, question.dispersion);
        paired_ = sequential_plan(0.5 * question.good(), 0.5 * question.limit, 1.0 - question.confidence,
                                  question.dispersion);
    }

    [[nodiscard]] static bool valid(const RepairQuestion& question) noexcept {
        return question.cylinder >= 1 && question.cylinder <= kMaxCylinders && question.limit >= 1e-4 &&
               question.limit <= 0.5 && question.confidence >= 0.5 && question.confidence <= 0.9999 &&
               question.false_alarm >= 0.0 && question.dispersion >= 1.0 && question.good() < question.limit;
    }

    void push(const Event& event) noexcept {
        if (event.verdict == Verdict::unjudged || plan_.most == 0) return;
        const bool pair = event.cylinder == 0 &&
                          (event.candidates[0] == question_.cylinder || event.candidates[1] == question_.cylinder);
        if (event.cylinder != question_.cylinder && !pair) return;
        // The phase becoming known makes another question of it: what came before was of a pair.
        if (firings_ > 0 && pair != pair_) restart();
        pair_ = pair;
        if (firings_ > 0 && event.time_s > last_s_) {
            const double step = event.time_s - last_s_;
            constexpr double kShare = 0.05;
            // A pause is no firing interval.
            if (!(step_s_ > 0.0)) step_s_ = step;
            if (step < 4.0 * step_s_) step_s_ += kShare * (step - step_s_);
        }
        last_s_ = event.time_s;
        count(event.verdict == Verdict::misfire, event.time_s);
    }

    [[nodiscard]] RepairState state() const noexcept { return state_; }
    [[nodiscard]] std::int64_t firings() const noexcept { return firings_; }
    [[nodiscard]] std::int64_t misfires() const noexcept { return misfires_; }
    /// Firings and misfires when the state was last decided; time of that firing, NaN while running.
    [[nodiscard]] std::int64_t decided_firings() const noexcept { return decided_firings_; }
    [[nodiscard]] std::int64_t decided_misfires() const noexcept { return decided_misfires_; }
    [[nodiscard]] double decided_s() const noexcept { return decided_s_; }
    /// `gone` was reached, at this time, and the misfire came back; NaN otherwise.
    [[nodiscard]] double was_gone_s() const noexcept { return was_gone_s_; }
    [[nodiscard]] bool pair() const noexcept { return pair_; }
    [[nodiscard]] const RepairQuestion& question() const noexcept { return question_; }
    [[nodiscard]] const SequentialPlan& plan() const noexcept { return pair_ ? paired_ : plan_; }

    /// Further firings without a misfire until `gone`; 0 once decided.
    [[nodiscard]] std::int64_t clean_needed() const noexcept {
        return state_ == RepairState::running ? plan().clean_needed(firings_, misfires_) : 0;
    }
    /// The same in seconds at the present pace; NaN while the pace is unknown.
    [[nodiscard]] double seconds_needed() const noexcept {
        return state_ != RepairState::running ? 0.0
               : step_s_ > 0.0                ? static_cast<double>(clean_needed()) * step_s_
                                              : kUnknown;
    }
    /// Upper limit of the cylinder's (a pair's) rate that holds at whatever moment one stops, with the question's confidence. 1 where
    /// nothing is known.
    ///
    /// The rates that a bet against them has not ruled out: 19 parts of 20 on good(), one part on any other rate (a mixture over
    /// Jeffreys' prior; Robbins, Ann. Math. Stat. 41:1397-1409, 1970, from memory), by Ville's inequality.
    [[nodiscard]] double rate_upper() const noexcept {
        if (firings_ == 0) return 1.0;
        const double goal = -plan().gone_at;
        const auto lost = static_cast<double>(misfires_);
        const auto burnt = static_cast<double>(firings_ - misfires_);
        const auto log_beta = [](double a, double b) { return std::lgamma(a) + std::lgamma(b) - std::lgamma(a + b); };
        const double of_good = lost * std::log(plan().good) + burnt * std::log1p(-plan().good);
        const double of_any = log_beta(lost + 0.5, burnt + 0.5) - log_beta(0.5, 0.5);
        const auto against = [&](double rate) {
            const double of_rate = lost * std::log(rate) + burnt * std::log1p(-rate);
            const double a = std::log(0.95) + (of_good - of_rate) / plan().dispersion;
            const double b = std::log(0.05) + (of_any - of_rate) / plan().dispersion;
            return std::fmax(a, b) + std::log1p(std::exp(-std::fabs(a - b)));
        };
        double low = std::fmax(plan().good, lost / static_cast<double>(firings_));
        double high = 1.0;
        constexpr int kSteps = 60;
        for (int i = 0; i < kSteps; ++i) {
            const double middle = 0.5 * (low + high);
            (against(middle) < goal ? low : high) = middle;
        }
        return high;
    }

  private:
    void restart() noexcept {
        const RepairQuestion question = question_;
        *this = RepairTest(question);
    }

    void count(bool misfire, double time_s) noexcept {
        ++firings_;
        misfires_ += misfire ? 1 : 0;
        if (state_ == RepairState::running) {
            const double ratio = plan().ratio(firings_, misfires_);
            if (ratio <= plan().gone_at)
                decide(RepairState::gone, time_s);
            else if (ratio >= plan().remains_at)
                decide(RepairState::remains, time_s);
            else if (firings_ >= plan().most)
                decide(RepairState::undecided, time_s);
        } else if (state_ == RepairState::gone &&
                   plan().ratio(firings_ - decided_firings_, misfires_ - decided_misfires_) >= plan().remains_at) {
            was_gone_s_ = decided_s_;
            decide(RepairState::remains, time_s);
        }
    }

    void decide(RepairState state, double time_s) noexcept {
        state_ = state;
        decided_firings_ = firings_;
        decided_misfires_ = misfires_;
        decided_s_ = time_s;
    }

    RepairQuestion question_{};
    SequentialPlan plan_{};
    SequentialPlan paired_{};
    RepairState state_ = RepairState::running;
    bool pair_ = false;
    std::int64_t firings_ = 0;
    std::int64_t misfires_ = 0;
    std::int64_t decided_firings_ = 0;
    std::int64_t decided_misfires_ = 0;
    double decided_s_ = kUnknown;
    double was_gone_s_ = kUnknown;
    double last_s_ = kUnknown;
    double step_s_ = kUnknown;
};

static_assert(std::is_trivially_copyable_v<RepairTest>);

}  // namespace kurbel
