// Kinds of sensors, polarity, and what is said of bad wiring.
#include <gtest/gtest.h>

#include <algorithm>
#include <limits>

#include "signal/waves.hpp"

namespace kurbel::test {
namespace {

using signal::Finding;
using signal::Flank;
using signal::SensorKind;

/// Largest distance of a found edge from the true one, samples; every true edge between the first and last must be found once.
double worst(const read::WaveformResult& found, const std::vector<double>& edges, double rate_hz) {
    double most = 0.0;
    std::size_t next = 0;
    for (const auto& edge : found.edges) {
        const double at = edge.time_s * rate_hz;
        while (next + 1 < edges.size() && std::fabs(edges[next + 1] - at) < std::fabs(edges[next] - at)) ++next;
        most = std::max(most, std::fabs(edges[next] - at));
    }
    return most;
}

TEST(Coil, SteepFlankIsFoundWhicheverWayTheWiresGo) {
    auto samples = coil(20.0, 12, 0.01);
    const auto plain = find(samples, settings_at(1e5));
    EXPECT_EQ(plain.report.kind, SensorKind::inductive);
    EXPECT_EQ(plain.report.flank, Flank::falling);
    EXPECT_TRUE(plain.report.flank_sure);
    EXPECT_NEAR(static_cast<double>(plain.edges.size()), 58.0 * 12, 2.0);
    EXPECT_LT(worst(plain, coil_edges(20.0, 12), 1e5), 0.3);
    for (double& x : samples) x = -x;
    const auto turned = find(samples, settings_at(1e5));
    EXPECT_EQ(turned.report.flank, Flank::rising);
    EXPECT_EQ(turned.edges.size(), plain.edges.size());
    // Told the wrong one: done as told, and said.
    auto told = settings_at(1e5);
    told.flank = Flank::falling;
    EXPECT_TRUE(find(samples, told).report.has(Finding::inverted));
}

TEST(Coil, LowToothBesideTheGapIsSeenAndMovesNoNeighbour) {
    const auto low = find(coil(25.0, 12, 0.003, 0.4), settings_at(1e5));
    EXPECT_NEAR(static_cast<double>(low.edges.size()), 58.0 * 12, 2.0);
    // Its neighbour's tail of flux moves the crossing itself a little: the crossing of the sum is what counts.
    EXPECT_LT(worst(low, coil_edges(25.0, 12), 1e5), 0.4);
}

/// A clamped coil whose rising slope has a notch, while the engine speeds up from 450 samples a tooth to 150.
std::vector<double> notched(int& teeth) {
    std::vector<double> samples;
    Noise draw(5);
    for (double pitch = 450.0; pitch > 150.0; pitch *= 0.992) {
        ++teeth;
        const double half = 0.5 * pitch;
        for (int i = 0; i < static_cast<int>(pitch); ++i) {
            const double x = i - half;
            const double notch = 0.12 * std::exp(-0.5 * std::pow((x - 16.0) / 3.0, 2));
            const double steep = 0.3 * (1.0 - std::exp(-x / 4.0)) * (1.0 - x / half);
            const double height = x > 0.0 ? steep + 0.8 * std::sin(0.5 * kTurn * x / half) - notch : 0.0;
            samples.push_back(4.5 * height - 0.7 + 2e-4 * draw());
        }
    }
    return samples;
}

TEST(Coil, NotchOnTheSlopeMakesNoSecondEdge) {
    int teeth = 0;
    const auto samples = notched(teeth);
    auto settings = settings_at(1e5);
    settings.kind = SensorKind::inductive;
    settings.flank = Flank::rising;
    const auto found = find(samples, settings);
    EXPECT_NEAR(static_cast<double>(found.edges.size()), teeth, 1.0);  // the record ends on the last one
    for (std::size_t i = 1; i < found.edges.size(); ++i)
        EXPECT_GT(found.edges[i].time_s - found.edges[i - 1].time_s, 120e-5) << i;
}

TEST(Coil, HumIsFoundAndTakenOff) {
    const double rate = 1e5;
    auto samples = coil(60.0, 70, 0.001);
    for (std::size_t i = 0; i < samples.size(); ++i)
        samples[i] += 0.15 * std::sin(kTurn * 50.0 * static_cast<double>(i) / rate + 1.0);
    const auto found = find(samples, settings_at(rate));
    EXPECT_TRUE(found.report.has(Finding::hum));
    EXPECT_NEAR(found.report.hum, 0.15, 0.03);
    EXPECT_EQ(found.report.hum_hz, 50.0);
    // Left alone it would move edges by 0.15 * 0.25 pitches = 2.2 samples either way.
    EXPECT_LT(worst(found, coil_edges(60.0, 70), rate), 0.7);
}

TEST(Coil, EngineOrderAtMainsFrequencyIsNoHum) {
    // 3000 rpm: the gap comes 50 times a second.
    const double rate = 1e5;
    const auto found = find(coil(rate / 3000.0, 100, 0.001), settings_at(rate));
    EXPECT_FALSE(found.report.has(Finding::hum));
}

TEST(Coil, CutOffWavesAreSaidAndKeepTheirEdges) {
    auto samples = coil(40.0, 15, 0.002);
    for (double& x : samples) x = std::clamp(x, -1.0, 0.25);
    const auto found = find(samples, settings_at(1e5));
    EXPECT_TRUE(found.report.has(Finding::clipped));
    EXPECT_LT(worst(found, coil_edges(40.0, 15), 1e5), 1.0);
}

TEST(Coil, FewStepsDropoutsAndDriftAreSaid) {
    auto steps = coil(40.0, 15, 0.0);
    for (double& x : steps) x = std::round(x * 8.0);
    EXPECT_TRUE(find(steps, settings_at(1e5)).report.has(Finding::too_small));
    auto silent = coil(40.0, 15, 0.002);
    std::fill(silent.begin() + 15000, silent.begin() + 19000, 0.0);
    EXPECT_TRUE(find(silent, settings_at(1e5)).report.has(Finding::dropouts));
    auto wanders = coil(40.0, 60, 0.002);
    for (std::size_t i = 0; i < wanders.size(); ++i) wanders[i] += 8e-6 * static_cast<double>(i);
    const auto found = find(wanders, settings_at(1e5));
    EXPECT_TRUE(found.report.has(Finding::drift));
    EXPECT_NEAR(static_cast<double>(found.edges.size()), 58.0 * 60, 4.0);
    EXPECT_EQ(find(coil(40.0, 15, 0.002), settings_at(1e5)).report.findings, 0U);
}

TEST(Noise, GivesNoTeeth) {
    Noise draw(5);
    std::vector<double> samples(300000);
    for (double& x : samples) x = 0.01 * draw();
    const auto found = find(samples, settings_at(1e5));
    EXPECT_TRUE(found.edges.empty());
    EXPECT_TRUE(found.report.has(Finding::no_signal));
    EXPECT_NEAR(found.report.noise, 0.01, 0.002);
}

TEST(Digital, TwoLevelsAreFoundAndTimedBetweenSamples) {
    Noise draw(9);
    std::vector<float> samples(200000);
    // Slopes of six samples, tooth distance 100, high for 35.
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double place = std::fmod(static_cast<double>(i) + 0.37, 100.0);
        const double up = std::clamp((place - 20.0) / 6.0 + 0.5, 0.0, 1.0);
        const double down = std::clamp((place - 55.0) / 6.0 + 0.5, 0.0, 1.0);
        samples[i] = static_cast<float>(0.2 + 4.6 * (up - down) + 0.01 * draw());
    }
    const auto found = find(samples, settings_at(1e6));
    EXPECT_EQ(found.report.kind, SensorKind::digital);
    EXPECT_EQ(found.report.flank, Flank::rising);
    EXPECT_EQ(found.report.findings, 0U);
    ASSERT_NEAR(static_cast<double>(found.edges.size()), 2000.0, 2.0);
    for (const auto& edge : found.edges) {
        const double place = (edge.time_s * 1e6 + 0.37 - 20.0) / 100.0;
        EXPECT_NEAR((place - std::round(place)) * 100.0, 0.0, 0.1);
    }
    auto told = settings_at(1e6);
    told.kind = SensorKind::inductive;
    EXPECT_TRUE(find(samples, told).report.has(Finding::kind_mistaken));
}

/// A Hall cam at idle: one pulse in two revolutions and silence between, high for `high` of the time, a slope of two samples.
struct Pulse {
    double rate_hz;
    double high;
    double noise;
};
class SparsePulses : public testing::TestWithParam<Pulse> {};

TEST_P(SparsePulses, AreDigitalFromTheFirst) {
    const auto [rate_hz, high, noise] = GetParam();
    constexpr double kCycle_s = 0.16;
    constexpr int kCycles = 40;
    const double period = kCycle_s * rate_hz + 0.37;
    Noise draw(11);
    std::vector<float> samples(static_cast<std::size_t>(period * kCycles));
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double place = std::fmod(static_cast<double>(i), period);
        const double up = std::clamp((place - 0.05 * period) / 2.0 + 0.5, 0.0, 1.0);
        const double down = std::clamp((place - (0.05 + high) * period) / 2.0 + 0.5, 0.0, 1.0);
        samples[i] = static_cast<float>(5.0 * (up - down) + noise * draw());
    }
    const auto found = find(samples, settings_at(rate_hz));
    EXPECT_EQ(found.report.kind, SensorKind::digital);
    EXPECT_EQ(found.report.flank, Flank::rising);
    EXPECT_EQ(found.report.findings, 0U) << found.report.findings;
    // The first may be what tells that there is a signal.
    const std::size_t lost = kCycles - found.edges.size();
    ASSERT_LE(lost, 1U);
    for (std::size_t k = 0; k < found.edges.size(); ++k)
        EXPECT_NEAR(found.edges[k].time_s * rate_hz, period * (static_cast<double>(k + lost) + 0.05), 0.5);
}

INSTANTIATE_TEST_SUITE_P(Cams, SparsePulses,
                         testing::Values(Pulse{2e4, 0.05, 0.0}, Pulse{1e5, 0.05, 0.0}, Pulse{1e5, 0.02, 0.02},
                                         Pulse{1e5, 0.9, 0.02}, Pulse{1e5, 0.5, 0.01}, Pulse{5e5, 0.05, 0.01}));

TEST(Digital, LogicLevelsOfOneBitAreTaken) {
    std::vector<std::uint8_t> samples(100000);
    for (std::size_t i = 0; i < samples.size(); ++i) samples[i] = i % 50 < 20 ? 1 : 0;
    const auto found = find(samples, settings_at(1e6));
    EXPECT_EQ(found.report.kind, SensorKind::digital);
    EXPECT_NEAR(static_cast<double>(found.edges.size()), 2000.0, 2.0);
}

TEST(Samples, ThatAreNoNumbersAreCountedAndBridged) {
    auto samples = coil(30.0, 12, 0.002);
    samples[5000] = std::numeric_limits<double>::quiet_NaN();
    samples[9001] = std::numeric_limits<double>::infinity();
    const auto found = find(samples, settings_at(1e5));
    EXPECT_EQ(found.report.bad_samples, 2);
    EXPECT_TRUE(found.report.has(Finding::bad_samples));
    EXPECT_NEAR(static_cast<double>(found.edges.size()), 58.0 * 12, 2.0);
}

TEST(Stream, EveryCutGivesTheSameBits) {
    const auto samples = coil(17.3, 12, 0.01);
    std::vector<std::int64_t> whole;
    for (const std::size_t block : {std::size_t{1}, std::size_t{7}, std::size_t{1000}, samples.size()}) {
        auto edges = signal::WaveformEdges::create(settings_at(1e5)).value;
        std::vector<std::int64_t> ticks;
        signal::WaveformEdge edge;
        for (std::size_t at = 0; at < samples.size();) {
            at += edges.push(samples.data() + at, std::min(block, samples.size() - at));
            while (edges.next_edge(edge)) ticks.push_back(edge.tick);
        }
        edges.finish();
        while (edges.next_edge(edge)) ticks.push_back(edge.tick);
        ASSERT_GT(ticks.size(), 600U);
        if (whole.empty()) whole = ticks;
        EXPECT_EQ(ticks, whole) << block;
    }
}

TEST(Settings, AreChecked) {
    EXPECT_STREQ(signal::WaveformEdges::create(settings_at(0.0)).status.parameter, "rate_hz");
    auto settings = settings_at(1e5);
    settings.scale = 0.0;
    EXPECT_STREQ(signal::WaveformEdges::create(settings).status.parameter, "scale");
    for (int bit = 0; bit < signal::kFindings; ++bit) EXPECT_NE(signal::finding_advice(bit)[0], '\0');
    EXPECT_STREQ(signal::finding_name(signal::kFindings), "?");
}

}  // namespace
}  // namespace kurbel::test
