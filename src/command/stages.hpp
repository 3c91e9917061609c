// What the first stages saw, for those who want to look inside.
#pragma once

#include <string>

#include "kurbel/read/recording.hpp"

namespace kurbel::command {

/// Runs Decoder and Segmenter over the recording and writes teeth.csv and segments.csv into `folder`; throws
/// read::InputError where they cannot be written. Unknown numbers are empty fields.
///
/// teeth.csv: tick (unwrapped), time_s, revolution (since synchronised), tooth (0 = first of the wheel), half (0 or 1: which
/// revolution of the cycle), angle_deg (crank degrees after cylinder 1's firing TDC, within the cycle), phase_known and
/// restart (0 or 1; restart: nothing connects this tooth to the one before).
/// segments.csv: time_s (its beginning), seconds, angle_deg (as above, of its beginning), width_deg, speed_rpm (mean),
/// energy_rad2_s2 (half of speed squared), acceleration_rad_s2 (from this segment to the next: their energies' difference
/// over the angle; inertia torque and wheel error not removed), phase_known, restart.
void write_stages(const std::string& folder, const read::Recording& recording);

}  // namespace kurbel::command
