// Which firings of two sides were made under similar conditions, so that their misfires may be compared.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "kurbel/study/judged_recording.hpp"

namespace kurbel {

/// Similar: speed within 375 rpm, load within 20 % of full charge, and the same warm-up state (after 13 CCR 1968.2 (c), "similar
/// conditions": value from memory). Warm: coolant at 70 degrees Celsius or more (common practice, no source).
struct SimilarConditions {
    static constexpr double kSpeed_rpm = 375.0;
    static constexpr double kLoad = 0.20;
    static constexpr double kWarm_c = 70.0;
};

/// What one side's judged firings ran at, for a person: medians, NaN where unknown.
struct OperatingPoint {
    std::int64_t judged = 0;
    double speed_rpm = kUnknown;
    double load = kUnknown;
    double coolant_c = kUnknown;
};

/// The median operating point of the judged firings of some recordings.
[[nodiscard]] OperatingPoint operating_point(const std::vector<JudgedRecording>& side);
/// "800 rpm, 25 % load, 88 degrees Celsius", with what is known.
[[nodiscard]] std::string in_words(const OperatingPoint& point);

/// For each recording of a side and each of its events: whether it was judged and the other side has run under similar conditions,
/// for as many firings at least as one cylinder needs to say anything (kLeastFirings a cylinder).
using Kept = std::vector<std::vector<bool>>;
struct CommonFirings {
    static constexpr int kLeastFirings = 10;
    Kept before;
    Kept after;
    bool load_known = false;         ///< on both sides; else loads were not compared
    bool temperature_known = false;  ///< on both sides; else warm-up states were not compared
    std::int64_t kept_before = 0;
    std::int64_t kept_after = 0;
};
[[nodiscard]] CommonFirings common_firings(const std::vector<JudgedRecording>& before,
                                           const std::vector<JudgedRecording>& after);

}  // namespace kurbel
