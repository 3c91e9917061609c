// The wheel of a recording: learned from all of it but the misfires, or held against one that was learned before.
#pragma once

#include <cstdint>
#include <vector>

#include "kurbel/core/status.hpp"
#include "kurbel/read/recording.hpp"
#include "kurbel/read/wheel_file.hpp"
#include "kurbel/stage/pitch_correction.hpp"

namespace kurbel::read {

/// What a recording says of its wheel.
struct LearnedWheel {
    WheelFile wheel{};
    PitchCorrection<double>::Report report{};
    long long revolutions = 0;      ///< that the recording holds
    long long spoilt = 0;           ///< of them, set aside because of a misfire
    long long without_fuel = 0;     ///< revolutions learned in fuel cut
    double slowest_rpm = kUnknown;  ///< of the revolutions learned from
    double fastest_rpm = kUnknown;
    WheelFit fit{};  ///< of recording.config.wheel_errors, where those are known
};

/// Runs a Detector over `recording` and learns from what is left once its misfires, each with a cycle behind it, are taken out.
/// Answers what BasicDetector::create or a push answers; throws std::bad_alloc.
[[nodiscard]] Result<LearnedWheel> learn_wheel(const Recording& recording);

/// The same where `events` of a Detector over this recording are already there.
[[nodiscard]] Result<LearnedWheel> learn_wheel(const Recording& recording, const std::vector<Event>& events);

}  // namespace kurbel::read
