// What bins show of a lost combustion, against edges of a crank that loses it, cut by the Segmenter itself.
#include "kurbel/stage/wheel_view.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/segmenter.hpp"
#include "stage/wheel_edges.hpp"

namespace kurbel::test {
namespace {

constexpr int kBefore = 3;  // bins
constexpr int kLength = 16;
constexpr double kSpeed_rad_s = 200.0;
constexpr double kLost = 200.0;  // of 20000 rad^2/s^2

/// Energy less than before by a given share of kLost at `deg` after TDC: work that the crank misses from 10 to 110 degrees, as a sine.
double lost_share(double deg) {
    if (deg < 10.0) return 0.0;
    return deg > 110.0 ? 1.0 : 0.5 * (1.0 - std::cos(to_rad((deg - 10.0) * 1.8)));
}

/// Mean of that over a bin of `bin_deg` from `deg` on.
double mean_lost(double deg, double bin_deg) {
    constexpr int kSteps = 200;
    double sum = 0.0;
    for (int i = 0; i < kSteps; ++i) sum += lost_share(deg + (i + 0.5) * bin_deg / kSteps);
    return sum / kSteps;
}

using Response = std::array<float, kLength>;

struct Case {
    Config config;
    CycleGrid grid;
    int place = 0;
    /// Where the response begins, in bins of the stream; two cycles in.
    [[nodiscard]] int first_bin() const {
        return 2 * grid.bins + grid.tdc_bin[static_cast<std::size_t>(place)] - kBefore;
    }
};

/// Differences of bin energy as they would be if the wheel showed the crank at every angle.
Response true_response(const Case& c) {
    Response response{};
    for (int j = 0; j < kLength; ++j) {
        const double deg = (j - kBefore) * c.grid.bin_deg;
        response[static_cast<std::size_t>(j)] =
            static_cast<float>(mean_lost(deg, c.grid.bin_deg) - mean_lost(deg + c.grid.bin_deg, c.grid.bin_deg));
    }
    return response;
}

/// The same of a crank whose teeth pass when they do, in shares of kLost.
Response cut_response(const Case& c) {
    const WheelConfig& wheel = c.config.crank_wheel;
    // Place 0 of revolution 0 lies tdc1_deg before cylinder 1's TDC, and the segmenter begins with bins two turns earlier.
    const double loss_deg = wheel.tdc1_deg + (c.first_bin() + kBefore) * c.grid.bin_deg - 720.0;
    Segmenter<double> segmenter;
    segmenter.configure(c.config, c.grid);
    std::vector<Bin<double>> bins;
    double time_s = 0.0;
    double at_deg = 0.0;
    bool first = true;
    for (int revolution = 0; revolution < 5; ++revolution)
        for (int i = 0; i < wheel.teeth; ++i) {
            const double deg = 360.0 * revolution + static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(i)]);
            constexpr double kStep_deg = 0.1;
            for (; at_deg < deg - 1e-9; at_deg += kStep_deg) {
                const double energy =
                    0.5 * kSpeed_rad_s * kSpeed_rad_s - kLost * lost_share(at_deg + 0.5 * kStep_deg - loss_deg);
                time_s += to_rad(kStep_deg) / std::sqrt(2.0 * energy);
            }
            Tooth tooth;
            tooth.tick = std::llround(time_s * c.config.timer.hz);
            tooth.revolution = revolution;
            tooth.index = i;
            tooth.half = static_cast<std::uint8_t>(revolution & 1);
            tooth.restart = first;
            tooth.phase_known = true;
            first = false;
            segmenter.push(tooth, [&](const Bin<double>& bin) { bins.push_back(bin); });
        }
    Response response{};
    for (std::size_t b = 0; b + 1 < bins.size(); ++b) {
        const auto j = bins[b].index - c.first_bin();
        if (j >= 0 && j < kLength)
            response[static_cast<std::size_t>(j)] = static_cast<float>((bins[b + 1].energy - bins[b].energy) / kLost);
    }
    return response;
}

Case case_of(WheelConfig wheel, double tdc1_deg, int place) {
    Case c;
    c.config = car(wheel);
    c.config.crank_wheel.tdc1_deg = tdc1_deg;
    c.config.timer.hz = 1e9;
    c.grid = make_cycle_grid(c.config.engine, c.config.crank_wheel);
    c.place = place;
    return c;
}

double distance(const Response& a, const Response& b) {
    double sum = 0.0;
    for (std::size_t j = 0; j < a.size(); ++j) sum += std::pow(static_cast<double>(a[j] - b[j]), 2);
    return std::sqrt(sum);
}

TEST(WheelView, ShowsALossAsTheSegmenterCutsIt) {
    double most_bent = 0.0;
    for (const WheelConfig& wheel : {even_wheel(60, {58, 59}), even_wheel(36, {35}), even_wheel(12, {11})})
        for (const double tdc1_deg : {0.0, 17.0, 121.4, 288.8, 301.0})
            for (const int place : {0, 1}) {
                const Case c = case_of(wheel, tdc1_deg, place);
                WheelView view;
                view.begin(c.config.crank_wheel, c.grid, -kBefore);
                const Response without = true_response(c);
                Response seen = without;
                view.look(place, seen, kLength);
                const Response cut = cut_response(c);
                // Never farther off than without: distances are told to a fiftieth of a bin, and energy is taken to be the same throughout one.
                EXPECT_LE(distance(seen, cut), std::min(distance(without, cut) + 0.003, 0.06))
                    << wheel.teeth << " teeth, TDC at " << tdc1_deg << ", place " << place;
                most_bent = std::max(most_bent, distance(without, cut));
            }
    EXPECT_GT(most_bent, 0.2) << "no wheel here bends anything";
}

TEST(WheelView, LeavesASteadyChangeAsItIs) {
    const Case c = case_of(even_wheel(12, {11}), 121.4, 1);
    WheelView view;
    view.begin(c.config.crank_wheel, c.grid, -kBefore);
    Response still{};
    view.look(1, still, kLength);
    for (const float value : still) EXPECT_EQ(value, 0.0F);
    // What is lost in all is lost, wherever it is seen.
    Response seen = true_response(c);
    view.look(1, seen, kLength);
    float sum = 0.0F;
    for (const float value : seen) sum += value;
    EXPECT_NEAR(sum, -1.0F, 0.01F);
}

}  // namespace
}  // namespace kurbel::test
