// Configuration: what is made, what is accepted at the edges of each range, and what is refused by name.
#include "kurbel/core/config.hpp"

#include <gtest/gtest.h>

#include <functional>
#include <string>
#include <vector>

#include "support/inline4_config.hpp"

namespace {

using namespace kurbel;

Config good() { return kurbel_test::inline4_config(); }

TEST(MakeEvenWheel, LeavesOutTheAbsentPlaces) {
    WheelConfig wheel;
    const int absent[] = {58, 59};
    ASSERT_TRUE(make_even_wheel(60, absent, 2, wheel).ok());
    EXPECT_EQ(wheel.positions, 60);
    EXPECT_EQ(wheel.teeth, 58);
    for (std::size_t i = 0; i < 58; ++i) EXPECT_FLOAT_EQ(wheel.angle_deg[i], 6.0F * static_cast<float>(i));
    const int middle[] = {1};
    ASSERT_TRUE(make_even_wheel(4, middle, 1, wheel).ok());
    EXPECT_EQ(wheel.teeth, 3);
    EXPECT_EQ(wheel.angle_deg[1], 180.0F);
}

TEST(MakeEvenWheel, RefusesPlacesThatAreNotThere) {
    WheelConfig wheel;
    for (const int place : {-1, 60})
        EXPECT_STREQ(make_even_wheel(60, &place, 1, wheel).parameter, "crank_wheel.absent");
    const int twice[] = {5, 5};
    EXPECT_STREQ(make_even_wheel(60, twice, 2, wheel).why, "a place is named twice");
    for (const int positions : {0, -3, kMaxTeeth + 1})
        EXPECT_STREQ(make_even_wheel(positions, nullptr, 0, wheel).parameter, "crank_wheel.positions");
    const int all[] = {0, 1};
    EXPECT_FALSE(make_even_wheel(2, all, 2, wheel).ok()) << "a wheel without a tooth";
}

TEST(MakeEvenFiring, DividesTheCycle) {
    EngineConfig engine;
    engine.cylinders = 5;
    make_even_firing(engine);
    for (std::size_t i = 0; i < 5; ++i) EXPECT_DOUBLE_EQ(engine.firing_tdc_deg[i], 144.0 * static_cast<double>(i));
    engine.strokes = 2;
    make_even_firing(engine);
    EXPECT_DOUBLE_EQ(engine.firing_tdc_deg[4], 288.0);
}

struct Change {
    const char* parameter;  ///< that the status must name; nullptr: accepted
    std::function<void(Config&)> make;
};

void expect_each(const std::vector<Change>& changes) {
    for (std::size_t i = 0; i < changes.size(); ++i) {
        Config config = good();
        changes[i].make(config);
        const Status status = validate(config);
        if (changes[i].parameter == nullptr) {
            EXPECT_TRUE(status.ok()) << i << ": " << status.parameter << " " << status.why;
        } else {
            ASSERT_FALSE(status.ok()) << i << ": " << changes[i].parameter;
            EXPECT_STREQ(status.parameter, changes[i].parameter) << i;
            EXPECT_GT(std::string(status.why).size(), 5U);
        }
    }
}

TEST(Validate, TakesWhatLiesAtTheEdges) {
    expect_each({{nullptr, [](Config&) {}},
                 {nullptr, [](Config& c) { c.engine.bore_mm = 10.0; }},
                 {nullptr, [](Config& c) { c.engine.bore_mm = kUnknown; }},
                 {nullptr, [](Config& c) { c.crank_wheel.tdc1_deg = 360.0; }},
                 {nullptr, [](Config& c) { c.timer.bits = 62; }},
                 {nullptr, [](Config& c) { c.timer.hz = 1e12; }},
                 {nullptr, [](Config& c) { c.settings.false_alarm = 0.1; }},
                 {nullptr, [](Config& c) { c.cam_wheel.edges = 0; }},
                 {nullptr, [](Config& c) {
                      c.engine.firing_tdc_deg = {0.0, 10.0, 20.0, 710.0};
                  }}});
}

TEST(Validate, NamesWhatIsWrongWithTheEngine) {
    expect_each({{"engine.strokes", [](Config& c) { c.engine.strokes = 3; }},
                 {"engine.cylinders", [](Config& c) { c.engine.cylinders = 0; }},
                 {"engine.cylinders", [](Config& c) { c.engine.cylinders = kMaxCylinders + 1; }},
                 {"engine.firing_order",
                  [](Config& c) {
                      c.engine.firing_order = {1, 3, 3, 2};
                  }},
                 {"engine.firing_order",
                  [](Config& c) {
                      c.engine.firing_order = {1, 3, 5, 2};
                  }},
                 {"engine.firing_order",
                  [](Config& c) {
                      c.engine.firing_order = {3, 1, 4, 2};
                  }},
                 {"engine.firing_tdc_deg", [](Config& c) { c.engine.firing_tdc_deg[0] = 1.0; }},
                 {"engine.firing_tdc_deg", [](Config& c) { c.engine.firing_tdc_deg[2] = 189.0; }},
                 {"engine.firing_tdc_deg", [](Config& c) { c.engine.firing_tdc_deg[2] = kUnknown; }},
                 {"engine.firing_tdc_deg", [](Config& c) { c.engine.firing_tdc_deg[3] = 711.0; }},
                 {"engine.bore_mm", [](Config& c) { c.engine.bore_mm = 0.086; }},
                 {"engine.stroke_mm", [](Config& c) { c.engine.stroke_mm = 5000.0; }},
                 {"engine.rod_mm", [](Config& c) { c.engine.rod_mm = 14.0; }},
                 {"engine.rod_mm", [](Config& c) { c.engine.stroke_mm = 100.0, c.engine.rod_mm = 50.0; }},
                 {"engine.compression_ratio", [](Config& c) { c.engine.compression_ratio = 1.0; }},
                 {"engine.reciprocating_kg", [](Config& c) { c.engine.reciprocating_kg = 0.0; }},
                 {"engine.inertia_kg_m2", [](Config& c) { c.engine.inertia_kg_m2 = -0.1; }},
                 {"engine.throw", [](Config& c) { c.engine.throw_number[1] = 5; }},
                 {"engine.bank", [](Config& c) { c.engine.bank[0] = -1; }}});
}

TEST(Validate, NamesWhatIsWrongWithWheelsTimerAndSettings) {
    expect_each(
        {{"crank_wheel", [](Config& c) { c.crank_wheel.teeth = 0; }},
         {"crank_wheel.tooth_angles_deg", [](Config& c) { c.crank_wheel.angle_deg[0] = -1.0F; }},
         {"crank_wheel.tooth_angles_deg", [](Config& c) { c.crank_wheel.angle_deg[7] = c.crank_wheel.angle_deg[6]; }},
         {"crank_wheel.tooth_angles_deg", [](Config& c) { c.crank_wheel.angle_deg[57] = 360.0F; }},
         {"crank_wheel.tdc1_deg", [](Config& c) { c.crank_wheel.tdc1_deg = 361.0; }},
         {"crank_wheel.tdc1_deg", [](Config& c) { c.crank_wheel.tdc1_deg = kUnknown; }},
         {"cam_wheel.edges_deg", [](Config& c) { c.cam_wheel.edges = kMaxCamEdges + 1; }},
         {"cam_wheel.edges_deg", [](Config& c) { c.cam_wheel.edge_deg[0] = 720.0; }},
         {"cam_wheel.edges_deg", [](Config& c) { c.cam_wheel.edges = 2, c.cam_wheel.edge_deg[1] = 50.0; }},
         {"timer.hz", [](Config& c) { c.timer.hz = kUnknown; }},
         {"timer.hz", [](Config& c) { c.timer.hz = 100.0; }},
         {"timer.bits", [](Config& c) { c.timer.bits = 7; }},
         {"timer.bits", [](Config& c) { c.timer.bits = 63; }},
         {"settings.method", [](Config& c) { c.settings.method = static_cast<Method>(9); }},
         {"settings.false_alarm", [](Config& c) { c.settings.false_alarm = 0.0; }},
         {"settings.false_alarm", [](Config& c) { c.settings.false_alarm = kUnknown; }},
         {"crank_wheel.absent", [](Config& c) {
              EXPECT_TRUE(make_even_wheel(60, nullptr, 0, c.crank_wheel).ok());
              c.cam_wheel.edges = 0;
          }}});
}

}  // namespace
