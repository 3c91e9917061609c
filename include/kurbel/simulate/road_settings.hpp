// What lies under the wheels, as plain values, from memory where no source is named.
#pragma once

#include <cstdint>

namespace kurbel::simulate {

enum class RoadKind : std::uint8_t { smooth = 0, washboard = 1, pothole = 2, random = 3 };

/// Unevenness over way, and the wheel that rolls over it; the values are of both driven wheels together, which meet the same
/// height at the same time. Acts through the tyres, see road.hpp.
struct RoadSettings {
    RoadKind kind = RoadKind::smooth;
    double from_s = -1e9;
    double to_s = 1e9;            ///< the rough part fades in and out over a quarter of a second
    double roughness_m3 = 64e-6;  ///< random: ISO 8608's displacement density at 0.1 cycles/m; class A 16e-6, B 64e-6,
                                  ///< C 256e-6, D 1024e-6, E 4096e-6 (geometric means; values from memory)
    double height_m = 0.03;       ///< washboard: crest to trough; pothole: depth
    double wavelength_m = 0.7;    ///< washboard
    double length_m = 0.6;        ///< pothole, with its edges
    double edge_m = 0.15;         ///< pothole: each edge, rounded as half a cosine
    double every_m = 50.0;        ///< pothole: from one to the next
    double patch_m = 0.1;         ///< contact length, over which a tyre averages
    double unsprung_kg = 80.0;    ///< wheels, hubs, part of the axle
    double tyre_n_m = 400e3;      ///< vertical stiffness
    double suspension_n_m = 45e3;
    double suspension_n_s_m = 3500.0;  ///< with the others: wheel hop near 12 Hz, damping ratio 0.29
    double hub_hz = 18.0;              ///< hubs fore and aft in their bushings
    double hub_damping = 0.08;
    double radius_share = 0.3;  ///< how much of a tyre's deflection the rolling radius takes up
};

}  // namespace kurbel::simulate
