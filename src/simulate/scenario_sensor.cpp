#include <algorithm>
#include <cmath>

#include "simulate/scenario_parts.hpp"
#include "simulate/table_reader.hpp"

namespace kurbel::simulate {

namespace {

void read_wheel_error(const read::TomlFile& file, Scenario& s) {
    with_table(file, "wheel_error", [&](TableReader& r) {
        WheelErrorSettings& w = s.wheel_error;
        r.number("pitch_deg", w.pitch_deg, 0.0, 2.0);
        r.number("run_out_deg", w.run_out_deg, 0.0, 3.0);
        r.number("jitter_deg", w.jitter_deg, 0.0, 1.0);
        r.microseconds("jitter_us", w.jitter_s, 0.0, 1000.0);
        r.number("missed", w.missed, 0.0, 0.5);
        r.number("extra", w.extra, 0.0, 0.5);
        r.number("weak_tooth", w.weak_tooth, 0.0, 1.0);
        r.number("gap_shift_pitch", w.gap_shift_pitch, -0.4, 0.6);
        r.number("cam_deg", w.cam_deg, -30.0, 30.0);
        r.number("chatter", w.chatter, 0.0, 1.0);
        r.microseconds("chatter_us", w.chatter_s, 1.0, 10000.0);
        if (s.sensor.kind != SensorKind::inductive) return;
        if (w.weak_tooth > 0.0) r.fail("weak_tooth", "with an inductive sensor, give sensor.first_tooth_height");
        if (w.gap_shift_pitch != 0.0)
            r.fail("gap_shift_pitch", "with an inductive sensor the gap comes out of the waveform");
    });
}

void read_tooth_faults(const read::TomlFile& file, Scenario& s) {
    const WheelConfig& wheel = s.crank_wheel;
    const int places = wheel.positions > 0 ? wheel.positions : wheel.teeth;
    with_each(file, "tooth_fault", [&](TableReader& r) {
        ToothFault t;
        if (!r.has("place")) r.fail("place", "is missing: which tooth");
        r.integer("place", t.place, 0, places - 1);
        r.number("bent_deg", t.bent_deg, -5.0, 5.0);
        r.number("missed", t.missed, 0.0, 1.0);
        r.number("height", t.height, 0.0, 3.0);
        const auto is_there = [&](float angle_deg) {
            return std::fabs(static_cast<double>(angle_deg) - t.place * 360.0 / wheel.positions) < 0.01;
        };
        const auto end = wheel.angle_deg.begin() + wheel.teeth;
        if (wheel.positions > 0 && std::none_of(wheel.angle_deg.begin(), end, is_there))
            r.fail("place", "is one of crank_wheel.absent");
        if (r.has("height") && s.sensor.kind != SensorKind::inductive)
            r.fail("height", "needs sensor.kind = \"inductive\"");
        s.tooth_faults.push_back(t);
    });
}

void read_sensor(const read::TomlFile& file, Scenario& s) {
    with_table(file, "sensor", [&](TableReader& r) {
        SensorSettings& c = s.sensor;
        r.choice("kind", c.kind, {"edges", "inductive"});
        r.number("tooth_share", c.tooth_share, 0.1, 0.9);
        r.number("radius_mm", c.radius_mm, 5.0, 2000.0);
        r.number("gap_mm", c.gap_mm, 0.1, 10.0);
        r.number("spread_mm", c.spread_mm, 0.0, 20.0);
        r.number("pole_mm", c.pole_mm, 0.5, 30.0);
        r.number("eccentricity_mm", c.eccentricity_mm, 0.0, 5.0);
        r.number("first_tooth_height", c.first_tooth_height, 0.0, 3.0);
        r.number("volts_at_1000_rpm", c.volts_at_1000_rpm, 1e-3, 1000.0);
        r.number("arm_v", c.arm_v, 0.0, 100.0);
        r.number("arm_share", c.arm_share, 0.0, 0.95);
        r.number("noise_v", c.noise_v, 0.0, 100.0);
        r.number("hum_v", c.hum_v, 0.0, 100.0);
        r.number("hum_hz", c.hum_hz, 1.0, 1e5);
        if (!(c.eccentricity_mm < c.gap_mm)) r.fail("eccentricity_mm", "lets the wheel touch the sensor");
    });
}

void read_cam(const read::TomlFile& file, Scenario& s) {
    with_table(file, "cam_error", [&](TableReader& r) {
        r.profile("late_deg", s.cam_error.late_deg, -90.0, 90.0);
        r.number("missed", s.cam_error.missed, 0.0, 1.0);
    });
}

void read_line(const read::TomlFile& file, Scenario& s) {
    with_each(file, "glitch", [&](TableReader& r) {
        Glitch g;
        r.choice("signal", g.signal, {"crank", "cam"});
        r.number("from_s", g.from_s, -kForever, kForever);
        r.number("to_s", g.to_s, -kForever, kForever);
        r.number("rate_hz", g.rate_hz, 0.0, 1e5);
        r.integer("length", g.length, 1, 1000);
        r.microseconds("spacing_us", g.spacing_s, 0.1, 1e6);
        s.glitches.push_back(g);
    });
    with_each(file, "dropout", [&](TableReader& r) {
        Dropout d;
        r.choice("signal", d.signal, {"crank", "cam"});
        r.number("from_s", d.from_s, -kForever, kForever);
        r.number("to_s", d.to_s, -kForever, kForever);
        s.dropouts.push_back(d);
    });
    with_table(file, "capture", [&](TableReader& r) {
        CaptureSettings& c = s.capture;
        const double range = s.timer.bits > 0 ? std::ldexp(1.0, std::min(s.timer.bits, 53)) - 1.0 : 9007199254740992.0;
        r.integer("prescaler", c.prescaler, 1, 1000000);
        r.number("counter_start", c.counter_start, 0.0, range);
        r.microseconds("latency_us", c.latency_s, 0.0, 1e5);
    });
}

void read_told(const read::TomlFile& file, Scenario& s) {
    with_table(file, "told", [&](TableReader& r) {
        ToldSettings& t = s.told;
        r.number("inertia_factor", t.inertia_factor, 0.1, 10.0);
        r.number("tdc1_error_deg", t.tdc1_error_deg, -180.0, 180.0);
        r.number("cam_error_deg", t.cam_error_deg, -180.0, 180.0);
        r.boolean("geometry", t.geometry);
        r.boolean("load", t.load);
    });
}

}  // namespace

void read_sensors(const read::TomlFile& file, Scenario& s) {
    read_sensor(file, s);
    read_wheel_error(file, s);
    read_tooth_faults(file, s);
    read_cam(file, s);
    read_line(file, s);
    read_told(file, s);
}

}  // namespace kurbel::simulate
