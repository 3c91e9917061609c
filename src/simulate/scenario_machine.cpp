// Crank, flywheel, driveline, brakes and accessories of a scenario file.
#include <algorithm>
#include <cmath>

#include "kurbel/simulate/portable_math.hpp"
#include "simulate/scenario_parts.hpp"
#include "simulate/table_reader.hpp"

namespace kurbel::simulate {

namespace {

void read_crank(const read::TomlFile& file, Scenario& s) {
    with_table(file, "crank", [&](TableReader& r) {
        CrankSettings& c = s.crank;
        r.number("pulley_share", c.pulley_share, 0.005, 0.6);
        r.number("throws_share", c.throws_share, 0.02, 0.9);
        r.number("first_torsion_hz", c.first_torsion_hz, 10.0, 2000.0);
        r.number("damping_ratio", c.damping_ratio, 0.0, 0.3);
        r.number("pulley_stiffness_share", c.pulley_stiffness_share, 0.02, 20.0);
        r.number("damper_kg_m2", c.damper_kg_m2, 0.0, 1e4);
        r.number("damper_hz", c.damper_hz, 5.0, 2000.0);
        r.number("damper_damping", c.damper_damping, 0.0, 1.0);
    });
    with_table(file, "dual_mass_flywheel", [&](TableReader& r) {
        DualMassSettings& d = s.dual_mass;
        if (!r.has("secondary_kg_m2")) r.fail("secondary_kg_m2", "is missing");
        r.number("secondary_kg_m2", d.secondary_kg_m2, 1e-4, 1e4);
        r.number("hz", d.hz, 2.0, 60.0);
        r.number("damping_ratio", d.damping_ratio, 0.0, 1.0);
        r.number("hysteresis_nm", d.hysteresis_nm, 0.0, 1e4);
    });
}

void read_driveline(const read::TomlFile& file, Scenario& s) {
    with_table(file, "driveline", [&](TableReader& r) {
        DrivelineSettings& d = s.driveline;
        r.number("ratio", d.ratio, 0.2, 100.0);
        r.number("wheel_radius_m", d.wheel_radius_m, 0.05, 2.0);
        r.number("vehicle_kg", d.vehicle_kg, 30.0, 1e5);
        r.number("gearbox_kg_m2", d.gearbox_kg_m2, 1e-4, 10.0);
        r.number("clutch_hz", d.clutch_hz, 8.0, 200.0);
        r.number("clutch_damping", d.clutch_damping, 0.0, 1.0);
        r.number("shuffle_hz", d.shuffle_hz, 0.5, 15.0);
        r.number("shuffle_damping", d.shuffle_damping, 0.0, 1.0);
        r.number("rolling_n", d.rolling_n, 0.0, 1e5);
        r.number("drag_n_s2_m2", d.drag_n_s2_m2, 0.0, 100.0);
        r.number("grade", d.grade, -0.3, 0.5);
    });
}

/// A gear, or a list of [seconds, gear]: whole numbers from 0 to the number of gears.
void read_gears(TableReader& r, GearboxSettings& g) {
    Profile gears;
    r.profile("gear", gears, 0.0, static_cast<double>(g.ratios.size()));
    g.gear.clear();
    for (const auto& [time_s, gear] : gears.points()) {
        if (gear != std::floor(gear)) r.fail("gear", "must be a whole number");
        g.gear.emplace_back(time_s, static_cast<int>(gear));
    }
}

void read_gearbox(const read::TomlFile& file, Scenario& s) {
    with_table(file, "gearbox", [&](TableReader& r) {
        GearboxSettings& g = s.gearbox;
        r.numbers("ratios", g.ratios, 0.1, 30.0, 20);
        if (g.ratios.empty()) r.fail("ratios", "is missing or empty");
        r.number("final_drive", g.final_drive, 0.1, 30.0);
        read_gears(r, g);
        r.profile("clutch", g.clutch, 0.0, 1.0);
        r.number("clutch_nm", g.clutch_nm, 1.0, 1e5);
        r.number("clutch_open_s", g.clutch_open_s, 0.0, 10.0);
        r.number("change_s", g.change_s, 0.0, 10.0);
        r.number("clutch_close_s", g.clutch_close_s, 0.0, 10.0);
        r.number("change_nm", g.change_nm, 0.1, 1e5);
        r.number("change_load", g.change_load, 0.02, 3.0);
        r.number("idle_rpm", g.idle_rpm, 100.0, 5000.0);
        r.number("shaft_nm_rad", g.shaft_nm_rad, 10.0, 1e7);
        r.number("shaft_nm_s_rad", g.shaft_nm_s_rad, 0.0, 1e5);
        r.number("wheel_kg_m2", g.wheel_kg_m2, 0.01, 1000.0);
    });
    with_table(file, "converter", [&](TableReader& r) {
        ConverterSettings& c = s.converter;
        if (!r.has("pump_nm_s2")) r.fail("pump_nm_s2", "is missing");
        r.number("pump_nm_s2", c.pump_nm_s2, 1e-6, 10.0);
        r.number("torque_ratio", c.torque_ratio, 1.0, 5.0);
        r.number("coupling_ratio", c.coupling_ratio, 0.5, 0.99);
    });
    with_table(file, "tyre", [&](TableReader& r) {
        TyreSettings& t = s.tyre;
        t.on = true;
        r.number("slip_stiffness_n", t.slip_stiffness_n, 1e3, 1e7);
        r.number("relaxation_m", t.relaxation_m, 0.02, 2.0);
        r.number("axle_kg", t.axle_kg, 10.0, 1e5);
        r.number("grip", t.grip, 0.05, 2.0);
    });
    with_table(file, "brake", [&](TableReader& r) {
        r.profile("torque_nm", s.brake.torque_nm, 0.0, 1e6);
        r.number("driven_share", s.brake.driven_share, 0.0, 1.0);
    });
}

/// The crank speed that goes with a vehicle speed, gear by gear, at least idle: what a run starts from and is sized for.
Profile crank_speed(const Scenario& s) {
    const auto ratio_at = [&](double time_s) {
        int gear = 1;
        bool first = true;
        for (const auto& [from_s, next] : s.gearbox.gear) {
            if ((first || from_s <= time_s) && next > 0) gear = next;
            first = false;
        }
        return s.gearbox.ratios[static_cast<std::size_t>(gear - 1)] * s.gearbox.final_drive;
    };
    std::vector<double> times;
    for (const auto& point : s.operation.speed_kmh.points()) times.push_back(point.first);
    for (const auto& point : s.gearbox.gear) times.push_back(point.first);
    std::sort(times.begin(), times.end());
    std::vector<std::pair<double, double>> points;
    for (const double time_s : times) {
        const double turns_s =
            s.operation.speed_kmh.at(time_s) / 3.6 / s.driveline.wheel_radius_m / (2.0 * portable::kPi);
        for (const double at_s : {std::nextafter(time_s, -kForever), time_s})
            points.emplace_back(time_s, std::max(s.gearbox.idle_rpm, 60.0 * turns_s * ratio_at(at_s)));
    }
    return Profile(std::move(points));
}

}  // namespace

void read_machine(const read::TomlFile& file, Scenario& s) {
    read_crank(file, s);
    read_driveline(file, s);
    read_gearbox(file, s);
    with_each(file, "accessory", [&](TableReader& r) {
        AccessoryLoad a;
        r.number("from_s", a.from_s, -kForever, kForever);
        r.number("to_s", a.to_s, -kForever, kForever);
        r.number("torque_nm", a.torque_nm, 0.0, 1e5);
        r.number("rise_s", a.rise_s, 0.0, 10.0);
        s.accessories.push_back(a);
    });
    if (!s.operation.speed_kmh.empty() && !s.gearbox.ratios.empty()) s.operation.speed_rpm = crank_speed(s);
}

void read_road(const read::TomlFile& file, Scenario& s) {
    with_table(file, "road", [&](TableReader& r) {
        RoadSettings& road = s.road;
        r.choice("kind", road.kind, {"smooth", "washboard", "pothole", "random"});
        r.number("from_s", road.from_s, -kForever, kForever);
        r.number("to_s", road.to_s, -kForever, kForever);
        r.number("roughness_m3", road.roughness_m3, 0.0, 0.02);
        r.number("height_m", road.height_m, 0.0, 0.5);
        r.number("wavelength_m", road.wavelength_m, 0.1, 100.0);
        r.number("length_m", road.length_m, 0.05, 20.0);
        r.number("edge_m", road.edge_m, 0.01, 10.0);
        r.number("every_m", road.every_m, 0.5, 1e5);
        r.number("patch_m", road.patch_m, 0.01, 1.0);
        r.number("unsprung_kg", road.unsprung_kg, 1.0, 5000.0);
        r.number("tyre_n_m", road.tyre_n_m, 1e3, 1e8);
        r.number("suspension_n_m", road.suspension_n_m, 100.0, 1e7);
        r.number("suspension_n_s_m", road.suspension_n_s_m, 0.0, 1e6);
        r.number("hub_hz", road.hub_hz, 3.0, 60.0);
        r.number("hub_damping", road.hub_damping, 0.0, 1.0);
        r.number("radius_share", road.radius_share, 0.0, 1.0);
    });
}

}  // namespace kurbel::simulate
