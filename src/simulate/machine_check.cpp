// What must fit together in driveline and road, whether a file or C++ filled the scenario.
#include <algorithm>

#include "simulate/scenario_parts.hpp"

namespace kurbel::simulate {

namespace {

Status bad(const char* parameter, const char* why) noexcept { return {StatusCode::bad_argument, parameter, why}; }

Status check_gearbox(const GearboxSettings& box) noexcept {
    const bool positive = std::all_of(box.ratios.begin(), box.ratios.end(), [](double ratio) { return ratio > 0.0; });
    if (!positive || !(box.final_drive > 0.0)) return bad("gearbox.ratios", "must be positive");
    double before = -1e300;
    for (const auto& [time_s, gear] : box.gear) {
        if (gear < 0 || gear > static_cast<int>(box.ratios.size()))
            return bad("gearbox.gear", "must lie in 0 (neutral) to the number of ratios");
        if (!(time_s >= before)) return bad("gearbox.gear", "must be in order of time");
        before = time_s;
    }
    return {};
}

}  // namespace

Status validate_machine(const Scenario& s) noexcept {
    const bool geared = !s.gearbox.ratios.empty();
    if (geared)
        if (const Status status = check_gearbox(s.gearbox); !status) return status;
    if (!geared && (s.converter.pump_nm_s2 > 0.0 || s.tyre.on || !s.brake.torque_nm.empty()))
        return bad("gearbox", "is needed by a converter, tyres and brakes");
    if (!s.operation.speed_kmh.empty() && !geared) return bad("operation.speed_kmh", "needs a gearbox");
    const bool held =
        s.operation.mode == Operation::hold || (s.operation.mode == Operation::road && s.operation.load.empty());
    if (held && s.gearbox.gear.size() > 1 && s.operation.speed_kmh.empty())
        return bad("operation.speed_kmh", "is needed where gears change and the speed is held");
    if (s.road.kind == RoadKind::smooth) return {};
    if (!s.tyre.on) return bad("tyre", "is needed by a rough road");
    if (!(s.road.unsprung_kg < 0.9 * s.tyre.axle_kg && s.road.unsprung_kg < 0.9 * s.driveline.vehicle_kg))
        return bad("road.unsprung_kg", "must be less than what the axle carries");
    // The wheel's hop is integrated in steps of a quarter of a millisecond.
    const double hop = (s.road.tyre_n_m + s.road.suspension_n_m) / s.road.unsprung_kg;  // rad^2/s^2
    if (!(hop < 377.0 * 377.0)) return bad("road.tyre_n_m", "lets the wheel hop faster than 60 Hz");
    if (!(s.road.suspension_n_s_m < 800.0 * s.road.unsprung_kg))
        return bad("road.suspension_n_s_m", "is too stiff a damper for so light a wheel");
    if (s.road.kind == RoadKind::pothole &&
        !(s.road.length_m >= 2.0 * s.road.edge_m && s.road.length_m <= s.road.every_m))
        return bad("road.length_m", "must hold both edges and fit before the next pothole");
    return {};
}

}  // namespace kurbel::simulate
