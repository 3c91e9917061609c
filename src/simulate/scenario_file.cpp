#include "kurbel/simulate/scenario_file.hpp"

#include <sstream>

#include "simulate/scenario_draw.hpp"
#include "simulate/scenario_parts.hpp"
#include "simulate/table_reader.hpp"

namespace kurbel::simulate {

namespace {

void read_run(const read::TomlFile& file, Scenario& s) {
    with_table(file, "scenario", [&](TableReader& r) {
        r.integer("seed", s.seed, 0, 9007199254740992LL);
        r.integer("machine_seed", s.machine_seed, 1, 9007199254740992LL);
        std::uint64_t drawn = 1;
        r.integer("draw", drawn, 0, 9007199254740992LL);  // has done its work when the file was parsed
        r.number("seconds", s.seconds, 0.1, 86400.0);
        r.number("settle_s", s.settle_s, 0.0, 600.0);
        r.number("start_deg", s.start_deg, 0.0, 719.999);
        r.number("step_us", s.step_s, 0.1, 1000.0);
        s.step_s = r.has("step_us") ? 1e-6 * s.step_s : 0.0;
    });
}

void read_operation(const read::TomlFile& file, Scenario& s) {
    with_table(file, "operation", [&](TableReader& r) {
        OperationSettings& o = s.operation;
        r.choice("mode", o.mode, {"neutral", "hold", "road", "cranking", "start"});
        if (o.mode == Operation::cranking) o.speed_rpm = Profile(300.0);
        r.profile("speed_rpm", o.speed_rpm, 50.0, 20000.0);
        r.profile("speed_kmh", o.speed_kmh, 0.0, 500.0);
        r.profile("load", o.load, 0.02, 3.0);
        r.profile("load_share", o.load_share, 0.0, 1.0);
        if (r.has("load") && r.has("load_share")) r.fail("load_share", "cannot stand beside load");
        if (r.has("load_share") && r.has("speed_kmh")) r.fail("load_share", "needs speed_rpm");
        if (o.mode == Operation::neutral && r.has("load_share")) r.fail("load_share", "in neutral there is no load");
        if (o.mode == Operation::neutral && r.has("load")) r.fail("load", "in neutral the governor sets the load");
        if (o.mode == Operation::hold && !r.has("load") && !r.has("load_share") && s.manifold.throttle.empty())
            r.fail("mode", "hold needs operation.load, operation.load_share or manifold.throttle");
        r.number("control_rad_s", o.control_rad_s, 0.05, 5.0);
        r.number("manifold_s", o.manifold_s, 0.0, 5.0);
        r.number("lowest_load", o.lowest_load, 0.02, 1.0);
        r.number("highest_load", o.highest_load, 0.1, 3.0);
    });
    // A start from rest has nothing to settle.
    const bool at_rest = s.operation.mode == Operation::cranking || s.operation.mode == Operation::start;
    if (at_rest && !file.root["scenario"]["settle_s"]) s.settle_s = 0.0;
}

void read_faults(const read::TomlFile& file, Scenario& s) {
    const int cylinders = s.engine.cylinders;
    with_each(file, "misfire", [&](TableReader& r) {
        MisfireRule m;
        if (!r.has("pattern")) r.fail("pattern", "is missing: continuous, random, periodic or burst");
        r.choice("pattern", m.pattern, {"continuous", "random", "periodic", "burst"});
        r.cylinders("cylinders", m.cylinders, cylinders);
        r.number("rate", m.rate, 0.0, 1.0);
        r.integer("every", m.every, 1, 1000000);
        r.integer("length", m.length, 1, 1000000);
        r.number("severity", m.severity, 0.0, 1.0);
        r.boolean("keeps_mixture", m.keeps_mixture);
        r.number("from_s", m.from_s, -kForever, kForever);
        r.number("to_s", m.to_s, -kForever, kForever);
        r.number("highest_load", m.highest_load, 0.0, kForever);
        r.number("highest_rpm", m.highest_rpm, 0.0, kForever);
        s.misfires.push_back(m);
    });
    with_each(file, "fuel_cut", [&](TableReader& r) {
        FuelCut f;
        r.integer("cylinder", f.cylinder, 0, cylinders);
        r.number("from_s", f.from_s, -kForever, kForever);
        r.number("to_s", f.to_s, -kForever, kForever);
        s.fuel_cuts.push_back(f);
    });
}

void read_channels(const read::TomlFile& file, Scenario& s) {
    with_table(file, "channels", [&](TableReader& r) {
        ChannelSettings& c = s.channels;
        r.boolean("write", c.write);
        r.number("every_s", c.every_s, 0.001, 10.0);
        r.number("load_noise", c.load_noise, 0.0, 1.0);
        r.number("load_gain", c.load_gain, 0.1, 10.0);
        r.profile("coolant_c", c.coolant_c, -60.0, 200.0);
    });
}

}  // namespace

std::string drawn_scenario(const std::string& path, std::optional<std::uint64_t> draw) {
    std::ostringstream text;
    text.imbue(std::locale::classic());
    text << toml::toml_formatter(parse_scenario(path, draw).root) << "\n";
    return text.str();
}

Scenario read_scenario(const std::string& path, std::optional<std::uint64_t> draw) {
    const read::TomlFile file = parse_scenario(path, draw);
    read::refuse_unknown_keys(
        file, file.root, "",
        // One line a part:
        // clang-format off
        {"contract", "engine_file", "scenario", "engine", "crank_wheel", "cam_wheel", "timer",
         "combustion", "gas_exchange", "manifold", "deactivation", "friction", "starter", "start", "idle_spark", "operation",
         "crank", "dual_mass_flywheel", "driveline", "gearbox", "converter", "tyre", "brake", "accessory", "road",
         "misfire", "fuel_cut",
         "wheel_error", "tooth_fault", "sensor", "cam_error", "glitch", "dropout", "capture", "told", "channels"});
    // clang-format on
    Scenario s;
    s.engine = read::read_engine(file);
    s.crank_wheel = read::read_crank_wheel(file);
    s.cam_wheel = read::read_cam_wheel(file, s.engine);
    s.timer = read::read_timer(file);
    s.has_timer = file.root.get("timer") != nullptr;
    read_run(file, s);
    read_combustion(file, s);
    read_start(file, s);
    read_operation(file, s);
    read_machine(file, s);
    read_road(file, s);
    read_faults(file, s);
    read_sensors(file, s);
    read_channels(file, s);
    resolve_load_share(s);
    read::require(file, validate(s));
    return s;
}

}  // namespace kurbel::simulate
