// The cells of the detection table.
#include <initializer_list>
#include <string>
#include <vector>

#include "cell.hpp"
#include "changes.hpp"

namespace kurbel_detection {

namespace {

/// A misfire cell's ordinary rate.
constexpr double kRate = 0.05;
/// By then a recording that begins while running is learned; how soon that is, the steady cells and the starts tell.
constexpr double kLearned_s = 3.0;
/// How often a course of 20 to 40 seconds is run through, so that each half of a recording can teach the trained observer.
constexpr int kTimes = 4;

class List {
  public:
    /// A scenario cell that ships, as it stands.
    Cell& shipped(const std::string& file, Kind kind) {
        Cell cell;
        cell.name = file;
        cell.file = "cells/" + file + ".toml";
        cell.kind = kind;
        cells_.push_back(cell);
        return cells_.back();
    }

    /// One that stands on a shipped file, with changes.
    Cell& changed(const std::string& name, const std::string& file, Kind kind, std::vector<Change> changes) {
        Cell& cell = shipped(file, kind);
        cell.name = name;
        cell.changes = std::move(changes);
        return cell;
    }

    /// The same with misfires at the ordinary rate.
    Cell& losing(const std::string& file, Kind kind) { return changed(file, file, kind, {random_misfires(kRate)}); }

    /// One with a course of its own over time, run through several times by each engine; misfires begin once it is known.
    Cell& course(const std::string& name, const std::string& file, Kind kind, std::vector<Change> changes = {}) {
        Cell& cell = changed(name, file, kind, std::move(changes));
        cell.own_length = true;
        cell.changes.push_back(misfires_from(kLearned_s));
        cell.changes.push_back(repeated(kTimes));
        return cell;
    }

    /// A start, which comes once.
    Cell& start(const std::string& name, const std::string& file, Kind kind, std::vector<Change> changes = {}) {
        Cell& cell = changed(name, file, kind, std::move(changes));
        cell.own_length = true;
        return cell;
    }

    [[nodiscard]] std::vector<Cell> take() { return std::move(cells_); }

  private:
    std::vector<Cell> cells_;
};

void add_patterns(List& list) {
    for (const char* file : {"pattern-random-01", "pattern-random-02", "pattern-random-05", "pattern-random-10",
                             "pattern-all-02", "pattern-alternate", "pattern-partial-25"})
        list.shipped(file, Kind::steady);
    // The files' names tell what burns, these what is lost.
    list.changed("pattern-lost-60", "pattern-partial-25", Kind::steady, {random_misfires(kRate, 0.6)});
    list.changed("pattern-bursts", "pattern-bursts", Kind::steady, {bursts()});
    list.changed("pattern-dead", "pattern-continuous", Kind::steady, {dead()});
    list.changed("pattern-dead-neighbours", "pattern-continuous", Kind::steady, {dead({0, 1})});
    list.changed("pattern-dead-opposed", "pattern-continuous", Kind::steady, {dead({0, 2})});
    for (const char* engine : {"inline6", "v8-crossplane"}) {
        const std::string file = std::string("layout-") + engine;
        const int half = std::string(engine) == "inline6" ? 3 : 4;
        const auto name = [&](const char* what) { return std::string("pattern-") + what + "-" + engine; };
        list.changed(name("lost-60"), file, Kind::steady, {random_misfires(kRate, 0.6)});
        list.changed(name("bursts"), file, Kind::steady, {bursts()});
        list.changed(name("random-10"), file, Kind::steady, {random_misfires(0.10)});
        list.changed(name("dead-neighbours"), file, Kind::steady, {dead({0, 1})});
        list.changed(name("dead-opposed"), file, Kind::steady, {dead({0, half})});
    }
    const auto often_lost = [&](const std::string& name, const std::string& file, std::vector<Change> changes) {
        list.changed("pattern-" + name, file, Kind::steady, std::move(changes)).own_length = true;
    };
    const Change slow = idle(600.0, 850.0);
    for (const std::string engine : {"inline3", "inline4", "inline6", "v8-crossplane"}) {
        const std::string file = "layout-" + engine;
        const int half = engine == "inline6" ? 3 : (engine == "v8-crossplane" ? 4 : 2);
        often_lost("half-" + engine, file, {often(0.5)});
        often_lost("most-" + engine, file, {often(0.8)});
        often_lost("half-idle-" + engine, file, {slow, often(0.5)});
        often_lost("half-neighbours-" + engine, file, {often(0.5, {0, 1})});
        if (engine != "inline3") often_lost("half-opposed-" + engine, file, {often(0.5, {0, half})});
    }
    // What dies or burns again while the engine runs: one cylinder, and two a revolution apart, as share a coil.
    for (const std::string engine : {"inline4", "inline4-crossplane", "inline6", "v8-crossplane"}) {
        const std::string file = "layout-" + engine;
        const int half = engine == "inline6" ? 3 : (engine == "v8-crossplane" ? 4 : 2);
        const auto add = [&](const char* name, std::vector<Change> changes) {
            list.changed(std::string("pattern-") + name + "-" + engine, file, Kind::steady, std::move(changes))
                .own_length = true;
        };
        add("burns-again", {burns_again(30.0)});
        add("burns-again-opposed", {burns_again(30.0, {0, half})});
        // What is left of this four fires 270 and 450 degrees apart: of those drawn in half an hour none idled on it.
        if (engine != "inline4-crossplane") add("burns-again-idle-opposed", {slow, burns_again(30.0, {0, half})});
        add("dies-later", {dies(30.0)});
        add("dies-later-opposed", {dies(30.0, {0, half})});
    }
    for (const std::string engine : {"v6-60", "v8-crossplane", "v8-flatplane"}) {
        const std::string file = "layout-" + engine;
        list.changed("pattern-dead-bank-" + engine, file, Kind::steady, {dead_bank()});
        list.changed("pattern-dies-later-bank-" + engine, file, Kind::steady, {dies(30.0, dead_bank())}).own_length =
            true;
    }
}

void add_speeds(List& list) {
    list.losing("speed-idle-neutral", Kind::steady);
    for (const char* speed : {"idle", "1000", "2000", "3000", "4500", "6000"})
        for (const std::string load : {"005", "020", "050", "100"})
            if (std::string(speed) != "idle" || load < "050")
                list.losing(std::string("speed-") + speed + "-load-" + load, Kind::steady);
    for (const char* load : {"020", "100"}) list.losing(std::string("speed-redline-load-") + load, Kind::beyond);
    for (const char* engine : {"inline3", "inline5", "inline6", "v6-60", "v6-90-oddfire", "v8-crossplane"}) {
        const std::string file = std::string("layout-") + engine;
        const auto name = [&](const char* what) { return std::string("speed-") + what + "-" + engine; };
        const Change lost = random_misfires(kRate);
        list.changed(name("idle"), file, Kind::steady, {idle(600.0, 850.0), lost});
        list.changed(name("3000-load-020"), file, Kind::steady, {held(2850.0, 3150.0, 0.2), lost});
        list.changed(name("4500-load-020"), file, Kind::steady, {held(4275.0, 4725.0, 0.2), lost});
        list.changed(name("6000-load-020"), file, Kind::steady, {held(5700.0, 6000.0, 0.2), lost});
        list.changed(name("6000-load-100"), file, Kind::steady, {held(5700.0, 6000.0, 1.0), lost});
        list.changed(name("6000-dead"), file, Kind::steady, {held(5700.0, 6000.0, 0.5), dead()});
        list.changed(name("6000-dies"), file, Kind::steady, {held(5700.0, 6000.0, 0.5), dies(15.0)}).own_length = true;
    }
    // Two that share a coil, and a whole bank: what is left of the torque falls, and the driveline swings.
    const auto die_together = [&](const std::string& who, const std::string& engine, const Change& which) {
        for (const auto& [name, low_rpm] : {std::pair{"4500", 4275.0}, std::pair{"6000", 5700.0}})
            list.changed(std::string("speed-") + name + "-dies-" + who + "-" + engine, "layout-" + engine, Kind::steady,
                         {held(low_rpm, low_rpm + 300.0, 0.5), dies(15.0, which)})
                .own_length = true;
    };
    die_together("opposed", "inline4", dead({0, 2}));
    die_together("opposed", "inline6", dead({0, 3}));
    die_together("opposed", "v8-crossplane", dead({0, 4}));
    for (const char* engine : {"v6-60", "v8-crossplane", "v8-flatplane"}) die_together("bank", engine, dead_bank());
}

void add_layouts(List& list) {
    const auto add = [&](const std::string& engine, Kind kind, bool can_die = true) {
        list.losing("layout-" + engine, kind);
        if (can_die) list.changed("layout-" + engine + "-dead", "layout-" + engine, kind, {dead()});
    };
    for (const char* engine : {"twin-180",
                               "twin-270",
                               "twin-360",
                               "vtwin-45",
                               "vtwin-60",
                               "vtwin-90",
                               "inline3",
                               "inline4",
                               "inline4-crossplane",
                               "inline4-diesel",
                               "inline4-dual-mass",
                               "inline4-motorcycle",
                               "v4-90-crank180",
                               "v4-90-crank360",
                               "boxer4",
                               "inline5",
                               "inline6",
                               "inline6-diesel-truck",
                               "boxer6",
                               "v6-60",
                               "v6-90-split",
                               "v6-90-semi-even",
                               "v6-90-oddfire",
                               "v8-crossplane",
                               "v8-flatplane"})
        add(engine, Kind::steady);
    for (const char* engine : {"single", "single-125", "two-stroke-single"}) add(engine, Kind::beyond, false);
    for (const char* engine :
         {"two-stroke-twin", "two-stroke-inline3", "v10-72", "v10-90-split", "v10-90-oddfire", "v12-60"})
        add(engine, Kind::beyond);
}

void add_measurement(List& list) {
    for (const char* wheel : {"12-1", "24-1", "36-1", "36-2-2-2", "60-2", "ring-gear", "run-out", "bad-teeth",
                              "counter-16", "glitches", "inductive"})
        list.losing(std::string("wheel-") + wheel, Kind::steady);
    list.losing("wheel-4-even", Kind::beyond);
    list.start("wheel-cam-fails", "wheel-cam-fails", Kind::steady);
    list.changed("wheel-edges-lost-and-added", "pattern-random-05", Kind::steady, {edges_lost_and_added(0.0005)});
    list.changed("wheel-edges-lost-and-added-inline6", "layout-inline6", Kind::steady, {edges_lost_and_added(0.0005)});
    const Change fast = held(5700.0, 6000.0, 0.5);
    list.changed("timer-12.5-ns", "pattern-random-05", Kind::steady, {fast, timer(80e6)});
    list.changed("timer-1-us", "pattern-random-05", Kind::steady, {fast, timer(1e6)});
    list.changed("timer-4-us", "pattern-random-05", Kind::steady, {fast, timer(250e3)});
    list.changed("timer-4-us-slow", "pattern-random-05", Kind::steady, {timer(250e3)});
    for (const char* hz : {"200", "300", "450"}) list.losing(std::string("crank-") + hz, Kind::steady);
    list.losing("crank-rigid", Kind::steady);
    for (const char* engine : {"inline6", "v8-crossplane"})
        for (const bool front : {true, false})
            list.changed(
                std::string("crank-200-") + (front ? "front-" : "flywheel-") + engine, std::string("layout-") + engine,
                Kind::steady,
                {held(2500.0, 5500.0, 0.4), torsion(200.0),
                 sensor_at(front ? kurbel::SensorAt::front : kurbel::SensorAt::flywheel), random_misfires(kRate)});
    for (const char* told : {"inertia-high", "inertia-low", "no-geometry", "no-load"})
        list.losing(std::string("told-") + told, Kind::steady);
    list.losing("told-tdc-wrong", Kind::beyond);
    list.changed("told-load-low", "pattern-random-05", Kind::steady, {load_gain(0.95)});
}

void add_driveline(List& list) {
    for (const char* what : {"neutral", "gear-1", "gear-2", "gear-3", "gear-4", "gear-5", "converter-open",
                             "converter-locked", "shuffle-slow", "shuffle-fast", "dual-mass"})
        list.losing(std::string("driveline-") + what, Kind::steady);
}

void add_starts(List& list) {
    for (const char* start :
         {"start-warm", "start-cold-cov-10", "start-cold-cov-20", "start-cold-cov-30", "start-first-1000-turns"})
        list.start(start, start, Kind::cold);
    list.start("start-coolant-steps", "start-coolant-steps", Kind::cold, {misfires_from(kLearned_s)});
    for (const char* cov : {"10", "20", "30"})
        list.changed(std::string("cold-idle-") + cov, "speed-idle-neutral", Kind::cold,
                     {cold_idle(std::stod(cov) / 100.0), random_misfires(kRate)});
    for (const char* engine : {"inline3", "inline6", "v8-crossplane"})
        list.changed(std::string("cold-idle-20-") + engine, std::string("layout-") + engine, Kind::cold,
                     {cold_idle(0.20), random_misfires(kRate)});
    list.changed("cold-idle-20-dead", "speed-idle-neutral", Kind::cold, {cold_idle(0.20), dead()});
}

void add_transients(List& list) {
    for (const std::string what :
         {"tip-in", "tip-out", "ramps", "gear-change", "fuel-cut", "clutch", "compressor", "alternator"})
        list.course("transient-" + what, "transient-" + what, Kind::transient, {random_misfires(kRate)});
    for (const std::string engine : {"inline4-diesel", "inline5", "inline6", "v8-crossplane"}) {
        list.course("transient-pedal-" + engine, "layout-" + engine, Kind::transient,
                    {pedal(), random_misfires(kRate)});
        list.changed("transient-pedal-dead-" + engine, "layout-" + engine, Kind::transient,
                     {pedal(), repeated(kTimes), dead()})
            .own_length = true;
    }
    for (const std::string engine : {"inline6", "v8-crossplane"})
        list.start("transient-sweep-" + engine, "layout-" + engine, Kind::transient,
                   {sweep(), random_misfires(kRate), misfires_from(kLearned_s)});
    // Driven with a cylinder that never fires, and with one that dies on the way.
    for (const std::string what : {"tip-in", "tip-out", "ramps", "gear-change", "fuel-cut", "clutch"}) {
        const auto add = [&](const char* name, const Change& change) {
            list.changed("transient-" + what + name, "transient-" + what, Kind::transient, {repeated(kTimes), change})
                .own_length = true;
        };
        add("-dead", dead());
        add("-dies", dies_halfway());
    }
    for (const std::string what : {"tip-in", "tip-out", "ramps"})
        list.changed("transient-" + what + "-breaks-down", "transient-" + what, Kind::transient,
                     {repeated(kTimes), breaks_down()})
            .own_length = true;
    for (const std::string what : {"tip-in", "tip-out"})
        list.course("told-load-late-" + what, "transient-" + what, Kind::transient, {random_misfires(kRate)}).tamper =
            load_late(0.06);
    for (const std::string what : {"ramps", "tip-in", "tip-out"}) {
        list.course("told-no-load-" + what, "transient-" + what, Kind::transient, {random_misfires(kRate)}).tamper =
            no_load();
        Cell& lost = list.changed("told-no-load-" + what + "-dead", "transient-" + what, Kind::transient,
                                  {repeated(kTimes), dead()});
        lost.own_length = true;
        lost.tamper = no_load();
    }
}

void add_roads(List& list) {
    list.losing("road-rough-misfire", Kind::rough);
    for (const std::string road : {"road-rough", "road-potholes", "road-washboard"})
        list.start(road + "-lost", road, Kind::rough, {random_misfires(kRate), misfires_from(kLearned_s)});
    for (const char* engine : {"inline6", "v8-crossplane"})
        list.changed(std::string("road-rough-lost-") + engine, std::string("layout-") + engine, Kind::rough,
                     {rough_road(256e-6), random_misfires(kRate)});
}

void add_healthy(List& list) {
    for (const std::string what :
         {"pattern-none", "road-smooth", "road-potholes", "road-rough", "spread-05", "spread-10"})
        list.changed("healthy-" + what, what, Kind::healthy, {});
    list.changed("healthy-spread-08", "pattern-none", Kind::healthy, {cylinder_spread(0.08)});
    list.changed("healthy-idle", "speed-idle-neutral", Kind::healthy, {no_misfires()});
    list.changed("healthy-cold-idle-20", "speed-idle-neutral", Kind::healthy, {cold_idle(0.20), no_misfires()});
    for (const std::string what :
         {"fuel-cut", "tip-in", "tip-out", "ramps", "gear-change", "clutch", "compressor", "alternator"})
        list.course("healthy-" + what, "transient-" + what, Kind::healthy, {no_misfires()});
    for (const std::string what :
         {"start-flare", "start-warm", "start-crank-no-fuel", "spread-deactivated", "road-washboard"})
        list.start("healthy-" + what, what, Kind::healthy, {no_misfires()});
    list.start("healthy-deactivated-first", "spread-deactivated", Kind::healthy, {no_misfires(), shut_off_first()});
    for (const std::string engine : {"inline3", "inline5", "inline6", "v6-60", "v6-90-oddfire", "v8-crossplane"}) {
        const std::string file = "layout-" + engine;
        const auto name = [&](const char* what) { return "healthy-" + std::string(what) + "-" + engine; };
        list.changed(name("idle"), file, Kind::healthy, {idle(600.0, 850.0), no_misfires(), cylinder_spread(0.08)});
        list.start(name("sweep"), file, Kind::healthy, {sweep(), no_misfires()});
        list.changed(name("6000"), file, Kind::healthy, {held(5700.0, 6000.0, 0.5), no_misfires()});
        list.changed(name("rough"), file, Kind::healthy, {rough_road(512e-6), no_misfires()});
    }
}

}  // namespace

const std::vector<Cell>& all_cells() {
    static const std::vector<Cell> cells = [] {
        List list;
        add_patterns(list);
        add_speeds(list);
        add_layouts(list);
        add_measurement(list);
        add_driveline(list);
        add_starts(list);
        add_transients(list);
        add_roads(list);
        add_healthy(list);
        return list.take();
    }();
    return cells;
}

}  // namespace kurbel_detection
