// What the detector said of each true firing.
#pragma once

#include <cstdint>
#include <vector>

#include "kurbel/core/types.hpp"
#include "kurbel/read/recording.hpp"
#include "recordings.hpp"

namespace kurbel_detection {

/// What the truth says of a firing. Neither misfire nor healthy: partial, which lost a share on purpose, and weak, which lost half or more
/// by nature.
enum class Truth : std::uint8_t { healthy, partial, weak, misfire, no_fuel };

struct Firing {
    kurbel::read::TruthRow truth{};
    Truth kind = Truth::healthy;
    bool on_rough_road = false;
    bool has_event = false;
    kurbel::Event event{};
    double delay_firings = kurbel::kUnknown;  ///< from its TDC to the edge that made the event come out
};

/// A recording, judged.
struct Judged {
    std::vector<Firing> firings;  ///< one a true firing, in order of time
    std::int64_t surplus = 0;     ///< events that belong to no true firing
    std::int64_t surplus_called = 0;
    kurbel::SyncState sync{};
};

/// Makes those healthy firings weak that did less than half of the work of the healthy firings right before them, and less than half of
/// that of those right after them, whatever their cylinder: burns so slow or partial that "misfire" is no mistake about the
/// work. Where the pedal moves, the firings on one side do more work than those on the other, and none is weak for that.
void set_weak_apart(std::vector<Firing>& firings);

/// Streams the recording through a Detector, edge by edge. Throws std::runtime_error where the configuration is refused.
[[nodiscard]] Judged judge(const Scenario& scenario, const Recording& recording, const kurbel::Settings& settings,
                           bool single_precision = false);

/// The classic's events, by true firing.
[[nodiscard]] std::vector<kurbel::Event> classic_events(const Recording& recording);

}  // namespace kurbel_detection
