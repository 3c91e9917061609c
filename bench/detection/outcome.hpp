// What a cell came to.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "cell.hpp"
#include "firings.hpp"
#include "kurbel/study/score.hpp"
#include "recordings.hpp"
#include "reliability.hpp"
#include "scores.hpp"

namespace kurbel_detection {

/// A misfire that was missed, or a healthy firing that was accused: for whoever wants to know why.
struct Fault {
    std::uint64_t drawn = 0;
    Firing firing{};
};

/// Misses of one method with the best threshold, beside those of the detector on the same firings.
struct Rival {
    std::string_view name;
    std::vector<Pool> readings;
    kurbel::Share missed{};
    double auc = kurbel::kUnknown;
};
enum RivalName : std::size_t { kClassic, kCycleDifference, kOrderPhasor, kObserver, kRivals };

struct Outcome {
    const Cell* cell = nullptr;
    int engines = 0;
    int stalled = 0;            ///< more of them: did not run to the end, and do not count
    double seconds = 0.0;       ///< simulated
    double simulating_s = 0.0;  ///< of processor time
    double detecting_s = 0.0;
    std::int64_t losses = 0;  ///< of synchronism
    kurbel::Share missed{};
    kurbel::Share missed_where_observed{};     ///< of the misfires that the observer has a score of
    std::array<std::int64_t, 9> missed_for{};  ///< unjudged, by Reason
    std::int64_t missed_absent = 0;            ///< without an event
    std::int64_t excused = 0;
    kurbel::Share
        false_alarms{};  ///< of judged healthy firings; those without fuel and surplus events that are called count, too
    std::int64_t false_without_fuel = 0;
    std::int64_t false_surplus = 0;
    kurbel::Share weak_called{};  ///< calls among burns that were weak by nature: neither a mistake nor asked for
    kurbel::Share
        wrong_cylinder{};  ///< called under another number, or missed while the firing before or after it was accused
    kurbel::Share unjudged{};  ///< of firings with fuel; cranking, fuel cut and true rough road taken out
    Pool evidence;
    kurbel::Share missed_at_best{};  ///< by its evidence, had it the best threshold as the others have
    double auc = kurbel::kUnknown;
    Reliability reliability;
    std::vector<double> delays;
    double delay_median = kurbel::kUnknown;
    double delay_longest = kurbel::kUnknown;
    std::array<Rival, kRivals> rivals{Rival{"classic", {}, {}}, Rival{"cycle difference", {}, {}},
                                      Rival{"order phasor", {}, {}}, Rival{"observer", {}, {}}};
    std::vector<Fault> faults;
    std::string error;  ///< why it could not be run
};

/// What the cell fails of what is asked, in words: "missed", "false", "wrong", "unjudged"; empty: nothing. A cell in which the observer
/// itself cannot do better than the limit allows half a percent more than the observer misses, on the same firings.
[[nodiscard]] std::string shortfall(const Outcome& outcome);

struct RunOptions {
    std::string datasets;
    std::uint64_t seed = 1;
    Amount amount{};
    kurbel::Settings settings{};
    bool rivals = true;
};

/// Whether the outcome holds as much as is asked for.
[[nodiscard]] bool holds_enough(const Outcome& outcome, const Amount& amount, int engines) noexcept;

/// Draws engines and hands each recording over until `enough(engines so far)`; engines that stall are drawn anew. Returns what went
/// wrong; empty: nothing.
[[nodiscard]] std::string for_each_engine(
    const Cell& cell, const RunOptions& options, const std::function<bool(int)>& enough,
    const std::function<void(const Scenario&, const Recorded&, std::uint64_t drawn)>& take, int* stalled = nullptr);

/// Counts what was said of a recording.
void add_counts(const Judged& judged, std::uint64_t drawn, Outcome& outcome);

/// Works out what follows from all counts, and lets go of what it was worked out from.
void sum_up(Outcome& outcome);

/// Simulates and judges engines until the cell holds enough. What goes wrong stands in `error`.
[[nodiscard]] Outcome run(const Cell& cell, const RunOptions& options);

}  // namespace kurbel_detection
