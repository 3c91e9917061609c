// kurbel_waveform_*: samples in, edges out; sizes, order of calls and errors.
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdint>
#include <string>
#include <vector>

#include "kurbel/kurbel.h"

namespace {

kurbel_waveform_settings settings_at(double rate_hz) {
    kurbel_waveform_settings settings;
    EXPECT_EQ(kurbel_waveform_settings_default(&settings, sizeof settings), KURBEL_OK);
    settings.rate_hz = rate_hz;
    return settings;
}

std::vector<std::int16_t> wave() {
    std::vector<std::int16_t> samples(30000);
    for (std::size_t i = 0; i < samples.size(); ++i)
        samples[i] = static_cast<std::int16_t>(-8000.0 * std::sin(6.283185307179586 * static_cast<double>(i) / 40.0));
    return samples;
}

int drain(kurbel_waveform* waveform, kurbel_waveform_edge& edge) {
    int count = 0;
    edge.struct_size = sizeof edge;
    while (kurbel_waveform_next_edge(waveform, &edge) == KURBEL_EVENT) ++count;
    return count;
}

TEST(WaveformC, FindsEdgesAndReports) {
    auto settings = settings_at(1e5);
    settings.scale = 1e-3;
    settings.flank = KURBEL_FLANK_FALLING;
    std::array<char, 80> text{};
    kurbel_waveform* waveform = nullptr;
    ASSERT_EQ(kurbel_waveform_create(&settings, &waveform, text.data(), text.size()), KURBEL_OK) << text.data();
    const auto samples = wave();
    kurbel_waveform_edge edge;
    int edges = 0;
    for (std::size_t at = 0; at < samples.size();) {
        std::size_t taken = 0;
        const auto answer =
            kurbel_waveform_push(waveform, samples.data() + at, KURBEL_SAMPLES_I16, samples.size() - at, &taken);
        ASSERT_TRUE(answer == KURBEL_OK || answer == KURBEL_QUEUE_FULL);
        at += taken;
        edges += drain(waveform, edge);
    }
    EXPECT_EQ(kurbel_waveform_finish(waveform), KURBEL_OK);
    std::size_t taken = 1;
    EXPECT_EQ(kurbel_waveform_push(waveform, samples.data(), KURBEL_SAMPLES_I16, 1, &taken), KURBEL_BAD_ORDER);
    EXPECT_EQ(taken, 0U);
    edges += drain(waveform, edge);
    EXPECT_NEAR(edges, 750, 8);
    EXPECT_EQ(edge.flank, KURBEL_FLANK_FALLING);
    EXPECT_NEAR(std::remainder(edge.time_s * 1e5, 40.0), 0.0, 0.05);
    kurbel_waveform_report report;
    report.struct_size = sizeof report;
    ASSERT_EQ(kurbel_waveform_get_report(waveform, &report), KURBEL_OK);
    EXPECT_EQ(report.kind, KURBEL_SENSOR_INDUCTIVE);
    EXPECT_NEAR(report.swing, 16.0, 0.5);
    EXPECT_NEAR(report.tooth_hz, 2500.0, 5.0);
    EXPECT_EQ(report.findings, 0U);
    EXPECT_EQ(kurbel_waveform_rewind(waveform), KURBEL_OK);
    EXPECT_EQ(kurbel_waveform_push(waveform, samples.data(), KURBEL_SAMPLES_I16, 4000, &taken), KURBEL_OK);
    EXPECT_GT(drain(waveform, edge), 90);
    kurbel_waveform_destroy(waveform);
}

TEST(WaveformC, RefusesWhatCannotBe) {
    std::array<char, 80> text{};
    kurbel_waveform* waveform = nullptr;
    auto settings = settings_at(0.0);
    EXPECT_EQ(kurbel_waveform_create(&settings, &waveform, text.data(), text.size()), KURBEL_BAD_SETTINGS);
    EXPECT_EQ(std::string(text.data()).rfind("rate_hz", 0), 0U);
    EXPECT_EQ(waveform, nullptr);
    settings.rate_hz = 1e5;
    settings.kind = 9;
    EXPECT_EQ(kurbel_waveform_create(&settings, &waveform, nullptr, 0), KURBEL_BAD_SETTINGS);
    EXPECT_EQ(kurbel_waveform_create(nullptr, &waveform, nullptr, 0), KURBEL_BAD_ARGUMENT);
    settings.struct_size = 8;
    EXPECT_EQ(kurbel_waveform_create(&settings, &waveform, nullptr, 0), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_waveform_settings_default(&settings, 8), KURBEL_BAD_ARGUMENT);
    settings = settings_at(1e5);
    ASSERT_EQ(kurbel_waveform_create(&settings, &waveform, nullptr, 0), KURBEL_OK);
    std::size_t taken = 0;
    const double sample = 0.0;
    EXPECT_EQ(kurbel_waveform_push(waveform, &sample, 77, 1, &taken), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_waveform_push(waveform, nullptr, KURBEL_SAMPLES_F64, 1, &taken), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_waveform_push(waveform, &sample, KURBEL_SAMPLES_F64, 1, nullptr), KURBEL_BAD_ARGUMENT);
    kurbel_waveform_edge edge;
    edge.struct_size = 4;
    EXPECT_EQ(kurbel_waveform_next_edge(waveform, &edge), KURBEL_BAD_ARGUMENT);
    kurbel_waveform_destroy(waveform);
    kurbel_waveform_destroy(nullptr);
    EXPECT_STREQ(kurbel_waveform_finding_name(0), "no_signal");
    EXPECT_STREQ(kurbel_waveform_finding_name(99), "?");
    EXPECT_STREQ(kurbel_waveform_finding_advice(-1), "");
}

TEST(WaveformC, ExchangedChannelsAreSaidInBothReports) {
    kurbel_waveform_report crank{};
    kurbel_waveform_report cam{};
    EXPECT_EQ(kurbel_waveform_compare(&crank, &cam), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_waveform_compare(nullptr, nullptr), KURBEL_BAD_ARGUMENT);
    crank.struct_size = sizeof crank;
    cam.struct_size = sizeof cam;
    crank.edges = 50;
    cam.edges = 2900;
    crank.findings = KURBEL_FINDING_HUM;
    EXPECT_EQ(kurbel_waveform_compare(&crank, &cam), KURBEL_OK);
    EXPECT_EQ(crank.findings, KURBEL_FINDING_HUM | KURBEL_FINDING_CHANNELS_SWAPPED);
    EXPECT_EQ(cam.findings, KURBEL_FINDING_CHANNELS_SWAPPED);
    cam.edges = 25;
    EXPECT_EQ(kurbel_waveform_compare(&crank, &cam), KURBEL_OK);
    EXPECT_EQ(crank.findings, KURBEL_FINDING_HUM);
    EXPECT_EQ(cam.findings, 0U);
}

}  // namespace
