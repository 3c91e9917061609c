// One lost combustion through the whole chain, against the equation of motion. J = 0.15 kg m^2 at 800 rpm; over 180 degrees the
// load takes 100 J and no combustion gives them: by energy the speed falls to 720.01 rpm. At constant torque that takes 39.473 ms
// and is 100 J / (pi J) = 212.2 rad/s^2; with the torque of a combustion, which begins and ends gently, nearly the same (computed
// from the formulas). Segment roughness on the same case: tests/stage/segment_roughness_test.cpp.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "kurbel/detector.hpp"
#include "support/inline4_config.hpp"

namespace {

constexpr double kPi = std::numbers::pi;
constexpr double kStepDeg = 0.25;
constexpr int kFirings = 600;
constexpr int kLost = 402;  ///< from cylinder 1's first on; the order 1-3-4-2 makes it cylinder 4's
constexpr double kHealthyEnergy = 0.5 * (800.0 * kPi / 30.0) * (800.0 * kPi / 30.0);
constexpr double kLoss = 100.0 / 0.15;  ///< over inertia

/// Time in s by crank angle in steps of kStepDeg. The torque of each firing's surplus or loss goes with sin^2 from TDC to TDC;
/// five firings give back what one has lost.
std::vector<double> times_s() {
    constexpr int kSteps = static_cast<int>(180.0 / kStepDeg);
    std::vector<double> times{0.0};
    double energy = kHealthyEnergy;
    for (int firing = 0; firing < kFirings; ++firing) {
        const double gain = firing == kLost ? -kLoss : firing > kLost && firing <= kLost + 5 ? kLoss / 5.0 : 0.0;
        const auto slowness = [&](double rad) {
            return 1.0 / std::sqrt(2.0 * (energy + gain * (rad - std::sin(rad) * std::cos(rad)) / kPi));
        };
        const double step = kPi / kSteps;
        for (int i = 0; i < kSteps; ++i)
            times.push_back(times.back() +
                            step / 6.0 *
                                (slowness(i * step) + 4.0 * slowness((i + 0.5) * step) + slowness((i + 1) * step)));
        energy += gain;
    }
    return times;
}

double time_at(const std::vector<double>& times, double deg) {
    return times[static_cast<std::size_t>(std::lround(deg / kStepDeg))];
}

std::vector<kurbel::Event> events_of(const std::vector<double>& times) {
    kurbel_test::Inline4Run run;
    run.bits = 0;
    run.timer_hz = 1e9;
    kurbel::Config config = inline4_config(run);
    config.engine.inertia_kg_m2 = 0.15;
    config.engine.bore_mm = config.engine.stroke_mm = 86.0;
    auto made = kurbel::Detector::create(config);
    EXPECT_TRUE(made.status.ok());
    kurbel::Detector& detector = made.value;
    std::vector<kurbel::Event> events;
    kurbel::Event event;
    const auto push = [&](double deg, kurbel::Signal signal) {
        EXPECT_TRUE(detector.push_edge(std::llround(time_at(times, deg) * 1e9), signal).ok());
        while (detector.next_event(event)) events.push_back(event);
    };
    EXPECT_TRUE(detector.push_channel(0, kurbel::Channel::load, 0.27).ok());
    for (int place = 1; place < kFirings * 30; ++place) {
        // Cylinder 1's TDC, at angle 0, is 14 places after place 0; its cam edge stands 50 degrees later.
        if (place % 120 == 9) push(6.0 * place - 4.0, kurbel::Signal::cam);
        if ((place + 14) % 60 < 58) push(6.0 * place, kurbel::Signal::crank);
    }
    EXPECT_TRUE(detector.finish().ok());
    while (detector.next_event(event)) events.push_back(event);
    return events;
}

TEST(LostCombustion, ShowsItsAcceleration) {
    const std::vector<double> times = times_s();
    const double from_s = time_at(times, 180.0 * kLost);
    const double lasted_s = time_at(times, 180.0 * (kLost + 1)) - from_s;
    const double end = std::sqrt(2.0 * (kHealthyEnergy - kLoss));
    const double truth = (end - std::sqrt(2.0 * kHealthyEnergy)) / lasted_s;
    ASSERT_NEAR(end * 30.0 / kPi, 720.01, 0.005);
    ASSERT_NEAR(truth, -212.2, 0.5);

    const std::vector<kurbel::Event> events = events_of(times);
    const auto lost = std::find_if(events.begin(), events.end(),
                                   [&](const kurbel::Event& event) { return std::fabs(event.time_s - from_s) < 1e-6; });
    ASSERT_NE(lost, events.end());
    EXPECT_EQ(lost->cylinder, 4);
    // Energy at a TDC is the mean of the two bins beside it, which rounds off what bends there.
    EXPECT_NEAR(lost->acceleration_rad_s2, truth, 0.01 * std::fabs(truth));
    EXPECT_NEAR((lost - 1)->acceleration_rad_s2, 0.0, 0.01 * std::fabs(truth));
    // Each of the five after it gains a fifth of the loss. One by one they are off by what the pattern, which knows no scatter here
    // and believes each cycle, has taken from the cycle of the loss; together they give back what was lost.
    double mean = 0.0;
    for (auto after = lost + 1; after <= lost + 5; ++after) mean += after->acceleration_rad_s2 / 5.0;
    EXPECT_NEAR(mean, 100.0 / 5.0 / (0.15 * kPi), 0.03 * std::fabs(truth));
}

}  // namespace
