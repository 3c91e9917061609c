// Every trigger wheel that the trade knows, from scenario to verdicts: the engine on paper turns it, the decoder finds its place.
// The list of wheels is common practice, no source.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numeric>
#include <string>
#include <vector>

#include "kurbel/read/analysis.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

struct Wheel {
    const char* name;
    int positions;
    std::vector<int> absent;
    std::vector<double> listed;  ///< tooth angles in the place of positions and absent
};

/// Pulse-width coded: slots every 15 degrees, narrow or wide. A recording holds one flank of each; the flank that carries the code
/// stands early or late, the other one makes an even wheel of 24 that only a cam can place. The code is invented.
std::vector<double> width_coded() {
    const std::vector<int> code{0, 1, 1, 0, 1, 0, 0, 0, 1, 1, 1, 0, 1, 1, 0, 0, 1, 0, 1, 1, 1, 1, 0, 1};
    std::vector<double> angles;
    for (std::size_t i = 0; i < code.size(); ++i)
        angles.push_back(15.0 * static_cast<double>(i) + (code[i] > 0 ? 5.0 : 0.0));
    return angles;
}

const std::vector<Wheel>& wheels() {
    static const std::vector<Wheel> all{
        {"60-2", 60, {58, 59}, {}},
        {"36-1", 36, {35}, {}},
        {"36-2", 36, {34, 35}, {}},
        {"36-2-2-2", 36, {12, 13, 30, 31, 34, 35}, {}},
        {"36-2-1", 36, {17, 34, 35}, {}},
        {"30-1", 30, {29}, {}},
        {"30-2", 30, {28, 29}, {}},
        {"24-1", 24, {23}, {}},
        {"24-2", 24, {22, 23}, {}},
        {"18-1", 18, {17}, {}},
        {"12-1", 12, {11}, {}},
        {"12-2", 12, {10, 11}, {}},
        {"12-3", 12, {9, 10, 11}, {}},
        {"8-1", 8, {7}, {}},
        {"4-1", 4, {3}, {}},
        {"120-2", 120, {118, 119}, {}},
        {"120-2x2", 120, {58, 59, 118, 119}, {}},
        {"24x width coded", 0, {}, width_coded()},
        {"24x other flank", 24, {}, {}},
        {"360 slots with cam", 360, {}, {}},
        {"2 vanes", 0, {}, {0.0, 150.0}},
        {"3 vanes", 0, {}, {0.0, 105.0, 240.0}},
        {"4 vanes", 0, {}, {0.0, 80.0, 180.0, 270.0}},
        {"6 vanes", 0, {}, {0.0, 45.0, 120.0, 180.0, 240.0, 300.0}},
        {"ring gear 110", 110, {}, {}},
        {"ring gear 135", 135, {}, {}},
        {"ring gear 160", 160, {}, {}},
    };
    return all;
}

Scenario with_wheel(const Wheel& wheel) {
    Scenario s = test::in_gear(test::inline_four(), 1500.0, 0.5);
    s.seconds = 6.0;
    s.wheel_error.pitch_deg = 0.05;
    s.wheel_error.jitter_deg = 0.01;
    s.crank_wheel = {};
    if (wheel.positions > 0) {
        EXPECT_TRUE(make_even_wheel(wheel.positions, wheel.absent.data(), static_cast<int>(wheel.absent.size()),
                                    s.crank_wheel));
    } else {
        s.crank_wheel.teeth = static_cast<int>(wheel.listed.size());
        std::copy(wheel.listed.begin(), wheel.listed.end(), s.crank_wheel.angle_deg.begin());
    }
    s.crank_wheel.tdc1_deg = 84.0;
    s.crank_wheel.at = SensorAt::flywheel;
    return s;
}

class EveryWheel : public ::testing::TestWithParam<std::size_t> {};

TEST_P(EveryWheel, IsFollowedFromEndToEnd) {
    const Scenario s = with_wheel(wheels()[GetParam()]);
    const read::Recording recording = simulate(s);
    Result<read::Analysis> result = read::analyze(recording, {});
    ASSERT_TRUE(result.ok()) << result.status.parameter << " " << result.status.why;
    const SyncState& sync = result.value.sync;
    EXPECT_TRUE(sync.synchronised);
    EXPECT_EQ(sync.losses, 0);
    EXPECT_EQ(sync.phase, Phase::cam);
    EXPECT_EQ(sync.extra, 0);
    EXPECT_EQ(sync.missed, 0);
    EXPECT_NEAR(static_cast<double>(sync.revolutions), 1500.0 / 60.0 * s.seconds, 4.0);
    // Synchronised to the right tooth: each firing TDC lies where the truth has it.
    int compared = 0;
    for (const Event& event : result.value.events) {
        const auto near =
            std::min_element(recording.truth.begin(), recording.truth.end(), [&](const auto& a, const auto& b) {
                return std::fabs(a.time_s - event.time_s) < std::fabs(b.time_s - event.time_s);
            });
        if (event.cylinder <= 0) continue;
        EXPECT_EQ(event.cylinder, near->cylinder);
        // Coarse wheels have no tooth near TDC: the speed swings by a few percent between teeth.
        EXPECT_NEAR(event.time_s, near->time_s, 4.0 / (6.0 * 1500.0)) << event.time_s;
        ++compared;
    }
    EXPECT_GT(compared, 200);
}

// A ring gear whose reference comes once a revolution, on the second line: the place in the revolution is known, the half is not.
TEST(RingGear, IsPlacedByAReferenceOnceARevolution) {
    Scenario s = with_wheel({"ring gear 132", 132, {}, {}});
    s.cam_wheel.edges = 2;
    s.cam_wheel.edge_deg[0] = 50.0;
    s.cam_wheel.edge_deg[1] = 410.0;
    Result<read::Analysis> result = read::analyze(simulate(s), {});
    ASSERT_TRUE(result.ok()) << result.status.why;
    EXPECT_TRUE(result.value.sync.synchronised);
    EXPECT_EQ(result.value.sync.losses, 0);
    EXPECT_NE(result.value.sync.phase, Phase::cam);
    EXPECT_NEAR(static_cast<double>(result.value.sync.revolutions), 150.0, 4.0);
}

std::string wheel_name(const ::testing::TestParamInfo<std::size_t>& info) {
    std::string name = wheels()[info.param].name;
    std::replace_if(
        name.begin(), name.end(), [](char c) { return std::isalnum(static_cast<unsigned char>(c)) == 0; }, '_');
    return name;
}

INSTANTIATE_TEST_SUITE_P(Wheels, EveryWheel, ::testing::Range(std::size_t{0}, wheels().size()), wheel_name);

struct Fault {
    const char* name;
    std::function<void(Scenario&)> apply;
};

const std::vector<Fault>& faults() {
    static const std::vector<Fault> all{
        {"bent tooth",
         [](Scenario& s) {
             s.tooth_faults = {{20, 0.5, 0.0, 1.0}};
         }},
        {"damaged tooth",
         [](Scenario& s) {
             s.tooth_faults = {{20, 0.0, 0.3, 1.0}};
         }},
        {"first tooth often missing",
         [](Scenario& s) {
             s.tooth_faults = {{0, 0.0, 0.5, 1.0}};
         }},
        {"chatter", [](Scenario& s) { s.wheel_error.chatter = 0.01; }},
        {"glitches",
         [](Scenario& s) {
             s.glitches = {{Signal::crank, 0.0, 1e9, 5.0, 1, 50e-6}};
         }},
        {"cam phaser",
         [](Scenario& s) {
             s.cam_error.late_deg = Profile({{0.0, 0.0}, {2.0, 0.0}, {3.0, 40.0}});
         }},
        {"cam edges missing", [](Scenario& s) { s.cam_error.missed = 0.5; }},
        {"cam lost",
         [](Scenario& s) {
             s.dropouts = {{Signal::cam, 2.0, 1e9}};
         }},
        {"slow capture",
         [](Scenario& s) {
             s.capture = {64, 1000.0, 20e-6};
         }},
        {"coil", [](Scenario& s) { s.sensor.kind = SensorKind::inductive; }},
        {"coil with noise and hum",
         [](Scenario& s) {
             s.sensor.kind = SensorKind::inductive;
             s.sensor.noise_v = 0.05;
             s.sensor.hum_v = 0.1;
         }},
        {"coil with a drowned tooth",
         [](Scenario& s) {
             s.sensor.kind = SensorKind::inductive;
             s.sensor.spread_mm = 3.3;
             s.sensor.first_tooth_height = 0.6;
         }},
    };
    return all;
}

class EveryFault : public ::testing::TestWithParam<std::size_t> {};

TEST_P(EveryFault, OfASensorIsSurvived) {
    Scenario s = with_wheel(wheels().front());
    s.has_timer = true;
    s.timer = {1e7, 24};
    faults()[GetParam()].apply(s);
    Result<read::Analysis> result = read::analyze(simulate(s), {});
    ASSERT_TRUE(result.ok()) << result.status.parameter << " " << result.status.why;
    EXPECT_EQ(result.value.sync.losses, 0);
    EXPECT_EQ(result.value.sync.phase, Phase::cam);
    EXPECT_NEAR(static_cast<double>(result.value.sync.revolutions), 1500.0 / 60.0 * s.seconds, 5.0);
    for (const Event& event : result.value.events) EXPECT_NE(event.verdict, Verdict::misfire) << event.time_s;
}

std::string fault_name(const ::testing::TestParamInfo<std::size_t>& info) {
    std::string name = faults()[info.param].name;
    std::replace(name.begin(), name.end(), ' ', '_');
    return name;
}

INSTANTIATE_TEST_SUITE_P(Faults, EveryFault, ::testing::Range(std::size_t{0}, faults().size()), fault_name);

}  // namespace
}  // namespace kurbel::simulate
