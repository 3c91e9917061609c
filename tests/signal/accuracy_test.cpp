// How exactly an edge is timed, beside what noise allows.
//
// The bound: of a known wave s(t - tau) in white noise of standard deviation sigma, no unbiased estimate of tau has a smaller
// variance than sigma^2 / sum s'(t_n)^2 (Kay, Fundamentals of Statistical Signal Processing I, 1993, example 3.13 in the
// numbering from memory). One tooth owns the samples of one tooth distance, so for a sine of amplitude A and N samples a tooth
// the bound is sigma N / (2 pi A) sqrt(2 / N).
#include <gtest/gtest.h>

#include "signal/waves.hpp"

namespace kurbel::test {
namespace {

double rms_error(double period, int teeth, double snr_db) {
    const double sigma = std::sqrt(0.5) / std::pow(10.0, snr_db / 20.0);
    signal::WaveformSettings settings = settings_at(1e6);
    settings.kind = signal::SensorKind::inductive;
    settings.flank = signal::Flank::falling;
    const auto found = find(sine(period, teeth, sigma), settings);
    EXPECT_GE(static_cast<int>(found.edges.size()), teeth - 12);
    EXPECT_LE(static_cast<int>(found.edges.size()), teeth);
    double sum = 0.0;
    for (const auto& edge : found.edges) {
        const double place = edge.time_s * 1e6 / period - 0.3;
        const double error = (place - std::round(place)) * period;
        sum += error * error;
    }
    return std::sqrt(sum / static_cast<double>(found.edges.size()));
}

double bound(double period, double snr_db) {
    const double sigma = std::sqrt(0.5) / std::pow(10.0, snr_db / 20.0);
    return sigma * period / kTurn * std::sqrt(2.0 / period);
}

TEST(Accuracy, TwoHundredthsOfASampleAtFortyDecibels) {
    for (const double period : {2.5, 2.7, 3.0, 3.3, 4.7, 8.1, 13.3, 31.7, 61.3})
        EXPECT_LE(rms_error(period, 500, 40.0), 0.02) << period << " samples a tooth";
}

TEST(Accuracy, NearTheCramerRaoBoundFromTwoAndAHalfSamplesToThousands) {
    for (const double period : {2.5, 2.7, 3.0, 3.3, 4.7, 8.1, 13.3, 31.7, 61.3, 313.7, 1234.5})
        for (const double snr_db : {20.0, 30.0, 40.0}) {
            const int teeth = period > 1000.0 ? 200 : 500;
            const double ratio = rms_error(period, teeth, snr_db) / bound(period, snr_db);
            EXPECT_LE(ratio, 1.5) << period << " samples a tooth, " << snr_db << " dB";
            // Better than the bound means that the test is wrong.
            EXPECT_GE(ratio, 0.85) << period << " samples a tooth, " << snr_db << " dB";
        }
}

TEST(Accuracy, ToldErrorIsTheTrueOneWhereASlopeHasSamples) {
    const double sigma = 0.02;
    const auto found = find(sine(50.3, 500, sigma), settings_at(1e6));
    double told = 0.0;
    double sum = 0.0;
    for (const auto& edge : found.edges) {
        const double place = edge.time_s * 1e6 / 50.3 - 0.3;
        const double error = (place - std::round(place)) * 50.3;
        sum += error * error;
        told += static_cast<double>(edge.std_error_s) * 1e6;
    }
    const auto n = static_cast<double>(found.edges.size());
    EXPECT_NEAR(told / n / std::sqrt(sum / n), 1.0, 0.2);
}

TEST(Accuracy, TicksAreTheSampleTimesOnTheAskedClock) {
    signal::WaveformSettings settings = settings_at(44100.0);
    settings.tick_hz = 1e6;
    settings.first_tick = 5000000000;
    settings.flank = signal::Flank::falling;
    const auto found = find(sine(20.0, 200, 0.0), settings);
    ASSERT_GT(found.edges.size(), 190U);
    for (const auto& edge : found.edges) {
        EXPECT_NEAR(static_cast<double>(edge.tick - 5000000000), edge.time_s * 1e6, 0.51);
        const double place = edge.time_s * 44100.0 / 20.0 - 0.3;
        EXPECT_NEAR(place, std::round(place), 1e-4);
    }
}

}  // namespace
}  // namespace kurbel::test
