#include "draw.hpp"

#include <algorithm>
#include <array>
#include <cstring>
#include <stdexcept>

#include "kurbel/core/fnv.hpp"
#include "kurbel/simulate/scenario_file.hpp"

namespace kurbel_discovery {

namespace {

using kurbel::simulate::Profile;
using kurbel::simulate::Random;
using kurbel::simulate::Scenario;

// Four-stroke layouts of datasets/cells; their sizes are drawn there.
constexpr std::array<const char*, 27> kLayouts{"single",         "vtwin-45",       "vtwin-60",
                                               "vtwin-90",       "twin-180",       "twin-270",
                                               "twin-360",       "inline3",        "inline4",
                                               "inline4-diesel", "boxer4",         "inline4-crossplane",
                                               "v4-90-crank180", "v4-90-crank360", "inline5",
                                               "inline6",        "boxer6",         "v6-60",
                                               "v6-90-split",    "v6-90-oddfire",  "v6-90-semi-even",
                                               "v8-crossplane",  "v8-flatplane",   "v10-72",
                                               "v10-90-oddfire", "v12-60",         "inline6-diesel-truck"};

double from(Random& random, double low, double high) { return low + (high - low) * random.uniform(); }
int pick(Random& random, int count) { return static_cast<int>(random.uniform() * count); }

void set_listed(Scenario& s, const std::vector<double>& angles) {
    s.crank_wheel = {};
    s.crank_wheel.teeth = static_cast<int>(angles.size());
    std::transform(angles.begin(), angles.end(), s.crank_wheel.angle_deg.begin(),
                   [](double deg) { return static_cast<float>(deg); });
}

/// Even places pushed by up to a quarter of their distance, at least one of them by a tenth: "vane width uneven".
std::vector<double> vanes(Random& random, int count) {
    const double pitch = 360.0 / count;
    for (;;) {
        std::vector<double> angles{0.0};
        for (int i = 1; i < count; ++i) angles.push_back(pitch * (i + from(random, -0.25, 0.25)));
        double most = 0.0;
        for (int i = 0; i < count; ++i) {
            const double next = i + 1 < count ? angles[static_cast<std::size_t>(i + 1)] : 360.0;
            most = std::max(most, std::abs(next - angles[static_cast<std::size_t>(i)] - pitch));
        }
        if (most > 0.2 * pitch) return angles;
    }
}

/// The code is invented, and differs from seed to seed.
std::vector<double> coded(Random& random) {
    std::vector<double> angles;
    for (int i = 0; i < 24; ++i) angles.push_back(15.0 * i + (pick(random, 2) == 1 ? 5.0 : 0.0));
    return angles;
}

void draw_wheel(const WheelKind& kind, Random& random, Scenario& s) {
    double finest_deg = 360.0;
    if (kind.vanes > 0) {
        set_listed(s, vanes(random, kind.vanes));
    } else if (kind.coded) {
        set_listed(s, coded(random));
        finest_deg = 10.0;
    } else {
        const int places = kind.most_positions > 0
                               ? kind.positions + pick(random, kind.most_positions - kind.positions + 1)
                               : kind.positions;
        const kurbel::Status status =
            kurbel::make_even_wheel(places, kind.absent.data(), static_cast<int>(kind.absent.size()), s.crank_wheel);
        if (!status) throw std::logic_error(status.why);
        finest_deg = 360.0 / places;
    }
    s.crank_wheel.tdc1_deg = from(random, 0.0, 360.0);
    s.crank_wheel.at = pick(random, 2) == 0 ? kurbel::SensorAt::front : kurbel::SensorAt::flywheel;
    // Stamped 0.1 to 0.2 degrees, machined 0.02 to 0.05 (from memory); fine rings are machined.
    s.wheel_error = {};
    s.wheel_error.pitch_deg = std::min(from(random, 0.02, 0.2), 0.04 * finest_deg);
    s.wheel_error.run_out_deg = from(random, 0.0, 0.1);
    s.wheel_error.jitter_deg = std::min(from(random, 0.002, 0.02), 0.01 * finest_deg);
    const bool faulty = pick(random, 2) == 1;
    s.wheel_error.missed = faulty ? from(random, 0.0, 5e-4) : 0.0;
    s.wheel_error.extra = faulty ? from(random, 0.0, 5e-4) : 0.0;
    s.has_timer = pick(random, 4) > 0;
    if (s.has_timer) s.timer = {std::array{1e6, 4e6, 1e7, 8e7}[static_cast<std::size_t>(pick(random, 4))], 32};
}

void draw_second_line(const WheelKind& kind, Random& random, Drawn& drawn) {
    Scenario& s = drawn.scenario;
    s.cam_wheel = {};
    const int what = pick(random, 4);
    drawn.reference = kind.plain && what < 2;
    if (drawn.reference) {
        s.cam_wheel.edges = 2;
        s.cam_wheel.edge_deg[0] = from(random, 0.0, 360.0);
        s.cam_wheel.edge_deg[1] = s.cam_wheel.edge_deg[0] + 360.0;
    } else if (kind.plain || what < 2) {
        // One edge, or a few at uneven angles.
        const int edges = what == 0 ? 3 : 1;
        const double first = from(random, 0.0, 100.0);
        const std::array<double, 3> after{0.0, from(random, 140.0, 220.0), from(random, 330.0, 420.0)};
        s.cam_wheel.edges = edges;
        for (int i = 0; i < edges; ++i)
            s.cam_wheel.edge_deg[static_cast<std::size_t>(i)] = first + after[static_cast<std::size_t>(i)];
    }
}

void draw_drive(Random& random, Drive drive, double idle_rpm, Scenario& s) {
    const double speed_rpm = s.operation.speed_rpm.at(0.0);  // the layout cell's: a middling one
    s.misfires.clear();
    s.fuel_cuts.clear();
    s.seconds = 15.0;
    if (drive == Drive::idle) {
        s.operation.mode = kurbel::simulate::Operation::neutral;
        s.operation.speed_rpm = Profile(std::max(650.0, speed_rpm * from(random, 0.35, 0.5)));
        s.operation.load = {};
        s.operation.load_share = {};
    } else if (drive == Drive::hold) {
        s.operation.speed_rpm = Profile(speed_rpm * from(random, 0.8, 1.4));
    } else if (drive == Drive::coast) {
        const double top_rpm = speed_rpm * from(random, 0.9, 1.3);
        // Little above idle, as the guide asks; control units bring fuel back there, too (from memory).
        const double low_rpm = std::min(0.7 * top_rpm, idle_rpm * from(random, 1.1, 1.5));
        s.seconds = 20.0;
        s.operation.speed_rpm = Profile({{0.0, top_rpm}, {4.5, top_rpm}, {16.0, low_rpm}, {20.0, low_rpm}});
        s.operation.load = Profile({{0.0, 0.4}, {4.0, 0.4}, {4.3, 0.15}, {16.0, 0.15}, {16.3, 0.3}, {20.0, 0.3}});
        s.operation.load_share = {};
        s.fuel_cuts = {{0, 4.5, 16.0}};
    } else {
        s.operation.mode = kurbel::simulate::Operation::road;
        s.operation.speed_rpm = Profile(speed_rpm * from(random, 0.9, 1.3));
        s.operation.load = Profile({{0.0, 0.4}, {4.0, 0.5}, {4.3, 0.15}, {10.0, 0.15}, {10.3, 0.4}, {15.0, 0.4}});
        s.operation.load_share = {};
        s.fuel_cuts = {{0, 4.5, 9.8}};
    }
}

Profile shortened(const Profile& profile, double share) {
    std::vector<std::pair<double, double>> points = profile.points();
    for (auto& [time_s, value] : points) time_s *= share;
    return Profile(std::move(points));
}

}  // namespace

void shorten(double share, Scenario& s) {
    s.seconds *= share;
    s.settle_s *= share;
    s.operation.speed_rpm = shortened(s.operation.speed_rpm, share);
    if (!s.operation.load.empty()) s.operation.load = shortened(s.operation.load, share);
    for (kurbel::simulate::FuelCut& cut : s.fuel_cuts) {
        cut.from_s *= share;
        cut.to_s *= share;
    }
}

const std::vector<WheelKind>& wheel_kinds() {
    static const std::vector<WheelKind> all{
        {"60-2", 60, {58, 59}},
        {"36-1", 36, {35}},
        {"36-2", 36, {34, 35}},
        {"36-2-2-2", 36, {12, 13, 30, 31, 34, 35}},
        {"36-2-1", 36, {17, 34, 35}},
        {"30-1", 30, {29}},
        {"30-2", 30, {28, 29}},
        {"24-1", 24, {23}},
        {"24-2", 24, {22, 23}},
        {"18-1", 18, {17}},
        {"12-1", 12, {11}},
        {"12-2", 12, {10, 11}},
        {"12-3", 12, {9, 10, 11}},
        {"8-1", 8, {7}},
        {"4-1", 4, {3}},
        {"120-2", 120, {118, 119}},
        {"120-2x2", 120, {58, 59, 118, 119}},
        {"24x coded flank", 0, {}, 0, true},
        {"24x other flank", 24, {}, 0, false, true},
        {"2 vanes", 0, {}, 2},
        {"3 vanes", 0, {}, 3},
        {"4 vanes", 0, {}, 4},
        {"6 vanes", 0, {}, 6},
        {"360 slots", 360, {}, 0, false, true},
        {"ring 110-160", 110, {}, 0, false, true, 160},
    };
    return all;
}

Drawn draw(const WheelKind& kind, std::uint64_t seed, const std::string& cells, const Drive* drive) {
    Random random(seed, kurbel::fnv1a(kind.name, std::strlen(kind.name)));  // wheels do not share draws
    Drawn drawn;
    drawn.engine = kLayouts[static_cast<std::size_t>(pick(random, static_cast<int>(kLayouts.size())))];
    drawn.scenario =
        kurbel::simulate::read_scenario(cells + "/layout-" + drawn.engine + ".toml", (random.next() >> 12) + 1);
    drawn.drive = static_cast<Drive>(pick(random, 3));
    if (drive != nullptr) drawn.drive = *drive;
    draw_wheel(kind, random, drawn.scenario);
    draw_second_line(kind, random, drawn);
    const std::string engine_file = cells + "/../engines/" + drawn.engine + ".toml";
    const double idle_rpm = kurbel::simulate::read_scenario(engine_file, 1).operation.speed_rpm.at(0.0);
    draw_drive(random, drawn.drive, idle_rpm, drawn.scenario);
    drawn.scenario.seed = (random.next() >> 12) + 1;
    drawn.scenario.machine_seed = (random.next() >> 12) + 1;
    drawn.scenario.start_deg = from(random, 0.0, 720.0);
    return drawn;
}

}  // namespace kurbel_discovery
