// The tables of a scenario file that tell how the engine is started, and how its idle is held.
#include "simulate/scenario_parts.hpp"
#include "simulate/table_reader.hpp"

namespace kurbel::simulate {

namespace {

void read_starter(const read::TomlFile& file, StarterSettings& starter) {
    with_table(file, "starter", [&](TableReader& r) {
        r.number("stall_nm", starter.stall_nm, 1.0, 20000.0);
        r.number("free_rpm", starter.free_rpm, 50.0, 2000.0);
        r.number("from_s", starter.from_s, 0.0, kForever);
        r.number("to_s", starter.to_s, 0.0, kForever);
        r.number("armature_kg_m2", starter.ratio_inertia_kg_m2, 0.0, 10.0);
        Profile engage;
        r.profile("engage", engage, 0.0, kForever);
        if (r.has("engage") && (r.has("from_s") || r.has("to_s")))
            r.fail("engage", "cannot stand beside from_s and to_s");
        for (const auto& [from_s, to_s] : engage.points()) {
            if (to_s <= from_s) r.fail("engage", "needs pairs of [from, to] with to after from");
            if (!starter.engage.empty() && from_s < starter.engage.back().second)
                r.fail("engage", "needs pairs that do not overlap");
            starter.engage.emplace_back(from_s, to_s);
        }
        r.number("stall_a", starter.stall_a, 0.0, 5000.0);
        r.number("rated_v", starter.rated_v, 3.0, 100.0);
        r.number("battery_v", starter.battery_v, 3.0, 100.0);
        r.number("battery_ohm", starter.battery_ohm, 0.0, 1.0);
        r.number("sag_ohm", starter.sag_ohm, 0.0, 1.0);
        r.number("sag_s", starter.sag_s, 0.01, 100.0);
    });
}

}  // namespace

void read_start(const read::TomlFile& file, Scenario& s) {
    read_starter(file, s.starter);
    with_table(file, "start", [&](TableReader& r) {
        r.number("fuel_after_turns", s.start.fuel_after_turns, 0.0, 1000.0);
        r.number("fuel_from_s", s.start.fuel_from_s, 0.0, kForever);
        r.number("load", s.start.load, 0.02, 3.0);
        r.number("release_rpm", s.start.release_rpm, 50.0, 5000.0);
        r.number("run_rpm", s.start.run_rpm, 50.0, 5000.0);
        r.number("stall_rpm", s.start.stall_rpm, 10.0, 5000.0);
        if (s.start.stall_rpm >= s.start.run_rpm) r.fail("stall_rpm", "must lie below start.run_rpm");
    });
    with_table(file, "idle_spark", [&](TableReader& r) {
        IdleSparkSettings& i = s.idle_spark;
        r.number("gain_deg_per_rpm", i.gain_deg_per_rpm, 0.0, 1.0);
        r.number("reserve_deg", i.reserve_deg, 0.0, 40.0);
        r.number("most_deg", i.most_deg, 0.0, 60.0);
        r.number("filter_s", i.filter_s, 0.0, 2.0);
        if (i.reserve_deg > i.most_deg) r.fail("reserve_deg", "must not lie above idle_spark.most_deg");
    });
}

}  // namespace kurbel::simulate
