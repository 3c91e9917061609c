// What wheel, sensor and capture unit can be like, as plain values. Defaults are off or ideal; figures of an inductive sensor
// are ordinary ones from memory, no source.
#pragma once

#include <vector>

#include "kurbel/core/types.hpp"
#include "kurbel/simulate/profile.hpp"

namespace kurbel::simulate {

/// One tooth that is not like the others.
struct ToothFault {
    int place = 0;          ///< place of the wheel, from 0; where tooth angles are listed, the tooth's number from 0
    double bent_deg = 0.0;  ///< how much later it passes
    double missed = 0.0;    ///< share of revolutions in which it gives no edge
    double height = 1.0;    ///< over the others' height; felt by an inductive sensor alone
};

enum class SensorKind : std::uint8_t {
    edges = 0,     ///< a ready edge where each tooth stands
    inductive = 1  ///< edges from a coil's voltage: see inductive_sensor.hpp
};

struct SensorSettings {
    SensorKind kind = SensorKind::edges;
    double tooth_share = 0.5;         ///< width of a tooth over the pitch
    double radius_mm = 75.0;          ///< of the wheel at its teeth
    double gap_mm = 1.0;              ///< air between tooth and pole
    double spread_mm = 2.0;           ///< the field spreads as if the pole stood so much farther away
    double pole_mm = 3.0;             ///< width of the pole along the wheel
    double eccentricity_mm = 0.0;     ///< amplitude of the air gap over a revolution, phase by seed
    double first_tooth_height = 1.0;  ///< of the first tooth after the widest gap, over the others'
    double volts_at_1000_rpm = 3.0;   ///< peak of an ordinary tooth
    double arm_v = 0.2;               ///< the half-wave before the zero crossing must reach this
    double arm_share = 0.0;           ///< ... and this share of the tooth before
    double noise_v = 0.0;             ///< standard deviation
    double hum_v = 0.0;               ///< amplitude of mains or ignition hum
    double hum_hz = 50.0;
};

/// Extra edges that no tooth made.
struct Glitch {
    Signal signal = Signal::crank;
    double from_s = 0.0;
    double to_s = 1e9;
    double rate_hz = 1.0;      ///< bursts a second, at random times
    int length = 1;            ///< edges of a burst
    double spacing_s = 50e-6;  ///< between the edges of a burst
};

/// A stretch of time without a signal.
struct Dropout {
    Signal signal = Signal::crank;
    double from_s = 0.0;
    double to_s = 1e9;
};

struct CamErrorSettings {
    Profile late_deg;     ///< crank degrees by which a phaser turns the cam late; empty: none
    double missed = 0.0;  ///< share of cam edges lost
};

/// The unit that turns edges into counter values.
struct CaptureSettings {
    int prescaler = 1;           ///< the counter moves in steps of so many ticks
    double counter_start = 0.0;  ///< reading in ticks at time 0; near the end of the range, it wraps soon
    double latency_s = 0.0;      ///< each edge is read late by a uniform draw from 0 to this
};

/// What the recording says of the engine otherwise than it is: a calibration borrowed from another car, an angle misread.
struct ToldSettings {
    double inertia_factor = 1.0;  ///< told over true rotating inertia
    double tdc1_error_deg = 0.0;  ///< told less true angle from place 0 to cylinder 1's TDC
    double cam_error_deg = 0.0;   ///< told less true angle of the cam edges
    bool geometry = true;         ///< false: bore to inertia are left out
    bool load = true;             ///< false: no load channel
};

}  // namespace kurbel::simulate
