// What the detector said of each true firing.
#pragma once

#include <cstdint>
#include <vector>

#include "kurbel/core/types.hpp"
#include "kurbel/read/recording.hpp"
#include "recordings.hpp"

namespace kurbel_detection {

/// What the truth says of a firing; partial is neither misfire nor healthy.
enum class Truth : std::uint8_t { healthy, partial, misfire, no_fuel };

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

/// Streams the recording through a Detector, edge by edge. Throws std::runtime_error where the configuration is refused.
[[nodiscard]] Judged judge(const Scenario& scenario, const Recording& recording, const kurbel::Settings& settings,
                           bool single_precision = false);

/// The classic's events, by true firing.
[[nodiscard]] std::vector<kurbel::Event> classic_events(const Recording& recording);

}  // namespace kurbel_detection
