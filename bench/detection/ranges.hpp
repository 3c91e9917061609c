// The ranges that the engines of the detection table are drawn from: one place to read, one place to doubt.
//
// Engineering ranges of cars' petrol engines: values from memory, no single source, unless one stands beside them. Every cell of
// the table draws an engine of its own. None was chosen for what the detector made of it. One was narrowed after looking at the
// engines: gears at idle, see there.
#pragma once

namespace kurbel_detection {

/// Uniform from `low` to `high`.
struct Range {
    double low;
    double high;
};

// ---- engine ----
inline constexpr Range kBore_mm{74.0, 90.0};
inline constexpr Range kStrokePerBore{0.90, 1.15};
inline constexpr Range kRodPerCrankRadius{3.1, 3.7};
inline constexpr Range kCompressionRatio{9.0, 11.5};
inline constexpr Range kReciprocating_kg{0.40, 0.70};      // per cylinder
inline constexpr Range kInertiaPerCylinder{0.025, 0.050};  // kg m^2; an inline four has 0.10 to 0.20

// ---- elastic crank ----
inline constexpr Range kFirstTorsion_hz{300.0, 450.0};
inline constexpr Range kTorsionDamping{0.01, 0.03};
inline constexpr Range kPulleyShare{0.05, 0.12};  // of the rotating inertia
inline constexpr Range kThrowsShare{0.15, 0.30};

// ---- combustion ----
// Coefficient of variation of indicated work: below 3 % at road load, 5 to 10 % at idle; 10 % is the limit of what drivers
// bear (Heywood 1988, sec. 9.4, eq. 9.50; values from memory).
inline constexpr Range kScatterHighLoad{0.03, 0.05};
inline constexpr Range kScatterLowLoad{0.05, 0.10};
inline constexpr Range kScatterSkewness{-1.0, -0.3};
inline constexpr Range kSpread{0.01, 0.04};  // between cylinders, standard deviation
inline constexpr Range kHalfBurnt_deg{6.0, 14.0};
inline constexpr Range kBurn_deg{48.0, 60.0};
inline constexpr Range kBurnLowLoad_deg{62.0, 82.0};

// ---- what it drives ----
inline constexpr Range kAccessories_nm{1.0, 5.0};
inline constexpr Range kVehicle_kg{1000.0, 2000.0};
// Crank turns per wheel turn, and the frequency of engine against vehicle, which rises from first gear to top gear.
inline constexpr Range kGearing{3.5, 14.0};
inline constexpr Range kAnyGear{0.0, 1.0};  // from first to top
// At idle speed a car creeps in its low gears. In a high one the half order of a dead cylinder meets the shuffle, and the speed
// swings between 80 and 1700 rpm within each cycle: no driver and no mounting would bear it.
inline constexpr Range kIdleGear{0.0, 0.4};
inline constexpr Range kShuffle_hz{2.0, 8.0};
inline constexpr Range kShuffleDamping{0.05, 0.12};
inline constexpr Range kClutch_hz{40.0, 80.0};
inline constexpr Range kClutchDamping{0.06, 0.15};

// ---- operating point ----
inline constexpr Range kIdle_rpm{700.0, 900.0};
inline constexpr Range kSpeedFactor{0.95, 1.05};  // of the cell's nominal speed, from 2000 rpm on
// Charge above that of the unloaded engine at the same speed, in shares of full charge.
inline constexpr Range kLowLoadExcess{0.05, 0.15};
inline constexpr Range kMidLoadExcess{0.25, 0.45};

// ---- wheel and capture ----
// Stamped or sintered wheels stay within 0.1 to 0.2 degrees (value from memory); this is the standard deviation of each tooth.
inline constexpr double kPitchError_deg = 0.1;
inline constexpr double kJitter_deg = 0.01;
inline constexpr Range kTdc1_deg{0.0, 360.0};
inline constexpr Range kCamEdge_deg{0.0, 720.0};
inline constexpr double kTimer_hz[] = {1e7, 2e7, 4e7, 8e7};  // 32 bits wide, so that some counters wrap
inline constexpr Range kLoadGain{0.9, 1.1};                  // error of the load sensor

// ---- faults ----
inline constexpr double kRandomRate = 0.03;

}  // namespace kurbel_detection
