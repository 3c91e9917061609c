// The pattern that a stage learns of a rigid crank at one speed and load.
#pragma once

#include <cmath>
#include <numbers>

#include "kurbel/stage/persistent_misfire.hpp"
#include "stage/rigid_crank.hpp"

namespace kurbel::test {

constexpr double kIntake = 0.122;    // load 0.35: 0.35 bar over 11 bar times (0.35 - 0.09)
constexpr double kExpected = 400.0;  // work of one firing over inertia, rad^2/s^2

/// `difference`: what the cycle's bins do, in units of one firing's work.
inline LearnedPattern<double> rigid_pattern(const CrankParts& parts, const CycleOfBins& difference, double speed_rpm) {
    LearnedPattern<double> learned;
    learned.difference = difference;
    learned.energy = 0.5 * std::pow(speed_rpm * std::numbers::pi / 30.0, 2.0) / kExpected;
    learned.speed_rpm = speed_rpm;
    learned.intake = kIntake;
    learned.doubt = 0.05;
    learned.mode_per_rev = static_cast<double>(parts.bank.mode_per_rev());
    learned.sized = true;
    return learned;
}

}  // namespace kurbel::test
