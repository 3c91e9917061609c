// Bins of crank angle against motions whose time by angle is known in closed form.
#include "kurbel/stage/segmenter.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <vector>

#include "kurbel/core/slider_crank.hpp"
#include "stage/wheel_edges.hpp"

namespace kurbel::test {
namespace {

constexpr double kHz = 1e9;

/// A wheel whose tooth at crank angle `deg` (0 = place 0 of a first half) passes at time_s(deg).
struct Motion {
    Config config = car(even_wheel(60, {58, 59}));
    std::function<double(double deg)> time_s;
    double from_deg = 0.0;
    double to_deg = 3600.0;
    std::function<bool(double deg)> gone = [](double) { return false; };
    std::int64_t first_tick = 0;
};

std::vector<Tooth> teeth_of(const Motion& motion) {
    std::vector<Tooth> teeth;
    const WheelConfig& wheel = motion.config.crank_wheel;
    for (int revolution = 0; 360.0 * revolution < motion.to_deg; ++revolution)
        for (int i = 0; i < wheel.teeth; ++i) {
            const double deg = 360.0 * revolution + static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(i)]);
            if (deg < motion.from_deg || deg >= motion.to_deg || motion.gone(deg)) continue;
            Tooth tooth;
            tooth.tick = motion.first_tick + std::llround(motion.time_s(deg) * kHz);
            tooth.revolution = revolution;
            tooth.index = i;
            tooth.half = static_cast<std::uint8_t>(revolution & 1);
            tooth.restart = teeth.empty();
            tooth.phase_known = true;
            teeth.push_back(tooth);
        }
    return teeth;
}

template <class Real>
struct Cut {
    CycleGrid grid;
    std::vector<Bin<Real>> bins;

    [[nodiscard]] int place(const Bin<Real>& bin) const { return static_cast<int>((bin.index + bin.turn) % grid.bins); }
};

template <class Real = double>
Cut<Real> cut(const Config& config, const std::vector<Tooth>& teeth) {
    Cut<Real> result;
    result.grid = make_cycle_grid(config.engine, config.crank_wheel);
    Segmenter<Real> segmenter;
    segmenter.configure(config, result.grid);
    for (const Tooth& tooth : teeth) segmenter.push(tooth, [&](const Bin<Real>& bin) { result.bins.push_back(bin); });
    return result;
}

template <class Real = double>
Cut<Real> cut(const Motion& motion) {
    return cut<Real>(motion.config, teeth_of(motion));
}

/// Constant angular acceleration: w^2 = w0^2 + 2 a angle, so the time to an angle is (w - w0) / a.
std::function<double(double)> ramp(double speed_rad_s, double acceleration_rad_s2) {
    return [=](double deg) {
        const double squared = speed_rad_s * speed_rad_s + 2.0 * acceleration_rad_s2 * to_rad(deg);
        return 2.0 * to_rad(deg) / (std::sqrt(squared) + speed_rad_s);  // the same without loss of digits
    };
}

/// Half of the squared mean speed between two angles, from the motion itself.
double true_energy(const Motion& motion, double from_deg, double bin_deg) {
    const double mean = to_rad(bin_deg) / (motion.time_s(from_deg + bin_deg) - motion.time_s(from_deg));
    return 0.5 * mean * mean;
}

/// Crank angle at which a bin begins, counted as the motion counts.
template <class Real>
double begin_deg(const Motion& motion, const Bin<Real>& bin, double bin_deg) {
    // Bin numbers begin one whole cycle before the revolution of the first tooth.
    const double first = motion.from_deg - std::fmod(motion.from_deg, 360.0);
    const double early = motion.config.engine.strokes == 2 ? 1.0 : 2.0 + std::fmod(first / 360.0, 2.0);
    return static_cast<double>(bin.index) * bin_deg + motion.config.crank_wheel.tdc1_deg + first - 360.0 * early;
}

TEST(Segmenter, ConstantSpeedGivesTheSameEnergyEverywhere) {
    for (const double tdc1_deg : {84.0, 85.5, 0.0, 359.0})
        for (const double speed_rad_s : {10.0, 300.0}) {
            Motion motion;
            motion.config.crank_wheel.tdc1_deg = tdc1_deg;
            motion.time_s = ramp(speed_rad_s, 0.0);
            const Cut<double> result = cut(motion);
            ASSERT_GT(result.bins.size(), 150U);
            for (std::size_t i = 0; i < result.bins.size(); ++i) {
                const Bin<double>& bin = result.bins[i];
                // Two edges rounded to a nanosecond, against a bin of at least a millisecond.
                EXPECT_NEAR(bin.energy / (0.5 * speed_rad_s * speed_rad_s), 1.0, 4e-6);
                EXPECT_NEAR(bin.ticks, to_rad(22.5) / speed_rad_s * kHz, 1.5);
                EXPECT_NEAR(static_cast<double>(bin.begin_tick), motion.time_s(begin_deg(motion, bin, 22.5)) * kHz,
                            2.0);
                EXPECT_EQ(bin.restart, i == 0);
                EXPECT_TRUE(bin.phase_known);
                if (i > 0) {
                    EXPECT_EQ(bin.index, result.bins[i - 1].index + 1);
                }
            }
        }
}

TEST(Segmenter, SpeedRampIsExactWhereBoundariesLieOnTeeth) {
    // Bins of 24 degrees from 84 degrees on begin at teeth, but for places 58 and 59, which are absent. There a boundary is
    // interpolated across 18 degrees: off by at most |t''| L^2 / 8 in time, t'' = -a / w^3 by angle.
    Motion motion;
    motion.config = car(even_wheel(60, {58, 59}));
    motion.config.engine.cylinders = 3;
    motion.config.engine.firing_order = {1, 3, 2};
    make_even_firing(motion.config.engine);
    const double acceleration = 400.0;
    motion.time_s = ramp(60.0, acceleration);
    const Cut<double> result = cut(motion);
    ASSERT_EQ(result.grid.bin_deg, 24.0);
    int in_gap = 0;
    for (const Bin<double>& bin : result.bins) {
        const double from_deg = begin_deg(motion, bin, 24.0);
        const double truth = true_energy(motion, from_deg, 24.0);
        const auto absent = [](double deg) { return std::fmod(deg, 360.0) > 342.5 && std::fmod(deg, 360.0) < 359.5; };
        const bool touched = absent(from_deg) || absent(from_deg + 24.0);
        in_gap += touched ? 1 : 0;
        const double speed = std::sqrt(2.0 * truth);
        const double time_off =
            touched ? acceleration / std::pow(0.95 * speed, 3) * to_rad(18.0) * to_rad(18.0) / 8.0 : 0.0;
        const double rounded = 2.0 / bin.ticks;  // half a tick at either end
        EXPECT_NEAR(bin.energy / truth, 1.0, 2.0 * time_off * speed / to_rad(24.0) + 1.01 * rounded) << from_deg;
    }
    EXPECT_GT(in_gap, 10);
}

TEST(Segmenter, SwingingSpeedWithinWhatInterpolationBends) {
    // Half of w^2 = e0 + e1 sin(2 angle): mean torque pulses as of an inline four. Time by angle from Simpson's rule.
    constexpr double kMean = 5000.0;
    constexpr double kSwing = 600.0;
    const auto per_speed = [](double rad) { return 1.0 / std::sqrt(2.0 * (kMean + kSwing * std::sin(2.0 * rad))); };
    std::vector<double> table{0.0};
    const double step = to_rad(0.5);
    for (int i = 0; i < 7200; ++i) {
        const double at = i * step;
        table.push_back(table.back() +
                        step / 6.0 * (per_speed(at) + 4.0 * per_speed(at + 0.5 * step) + per_speed(at + step)));
    }
    Motion motion;
    motion.time_s = [&](double deg) { return table.at(static_cast<std::size_t>(std::llround(deg / 0.5))); };
    motion.config.crank_wheel.tdc1_deg = 86.5;  // boundaries lie between teeth
    motion.to_deg = 3590.0;
    const Cut<double> result = cut(motion);
    ASSERT_EQ(result.grid.bin_deg, 22.5);
    // t'' = -(dw/dangle) / w^2; the largest d(w^2/2)/dangle is 2 e1, so |t''| <= 2 e1 / w^3, w at its lowest.
    const double bend = 2.0 * kSwing / std::pow(2.0 * (kMean - kSwing), 1.5);
    for (const Bin<double>& bin : result.bins) {
        const double from_deg = begin_deg(motion, bin, 22.5);
        const double truth = true_energy(motion, from_deg, 22.5);
        double time_off = 0.0;
        for (const double deg : {from_deg, from_deg + 22.5}) {
            const double place = std::fmod(deg, 360.0);
            const double span_deg = place > 342.0 ? 18.0 : 6.0;
            time_off += bend * to_rad(span_deg) * to_rad(span_deg) / 8.0;
        }
        const double lasted = motion.time_s(from_deg + 22.5) - motion.time_s(from_deg);
        EXPECT_NEAR(bin.energy / truth, 1.0, 2.1 * time_off / lasted + 1e-6) << from_deg;
    }
    // The bound itself is small against the swing: 6-degree teeth bend it by half a percent of the energy at most.
    EXPECT_LT(2.1 * 2.0 * bend * to_rad(6.0) * to_rad(6.0) / 8.0 / (to_rad(22.5) / std::sqrt(2.0 * kMean)), 0.02);
}

TEST(Segmenter, FloatKeepsItsDigitsFarFromTheBeginning) {
    Motion motion;
    motion.time_s = ramp(100.0, 3.0);
    motion.first_tick = 4'000'000'000'000'000'000;
    motion.to_deg = 40.0 * 360.0;
    const Cut<double> wide = cut(motion);
    const Cut<float> narrow = cut<float>(motion);
    ASSERT_EQ(wide.bins.size(), narrow.bins.size());
    for (std::size_t i = 0; i < wide.bins.size(); ++i)
        EXPECT_NEAR(static_cast<double>(narrow.bins[i].energy) / wide.bins[i].energy, 1.0, 3e-6);
}

TEST(Segmenter, WhereTheClockBeganDoesNotMatterToTheLastBit) {
    Motion motion;
    motion.time_s = ramp(80.0, 50.0);
    const Cut<double> early = cut(motion);
    motion.first_tick = 9'000'000'000'000'000'000;
    const Cut<double> late = cut(motion);
    ASSERT_EQ(early.bins.size(), late.bins.size());
    for (std::size_t i = 0; i < early.bins.size(); ++i) {
        EXPECT_EQ(early.bins[i].energy, late.bins[i].energy);
        EXPECT_EQ(early.bins[i].begin_tick + motion.first_tick, late.bins[i].begin_tick);
    }
}

TEST(Segmenter, ACounterThatWrapsGivesTheSameBins) {
    WheelRun run;
    run.config = car(even_wheel(60, {58, 59}));
    run.config.timer.hz = 1e6;
    run.speed_deg_s = swinging(900.0, 0.05, 2.0);
    run.revolutions = 30.0;
    std::vector<WheelEdge> edges = make_edges(run);
    const Cut<double> plain = cut(run.config, decode(run.config, edges).teeth);
    run.config.timer.bits = 16;
    for (WheelEdge& edge : edges) edge.tick &= 0xFFFF;
    Decoder decoder;
    decoder.configure(run.config);
    std::vector<Tooth> teeth;
    std::array<Tooth, kMaxTeethPerPush> out;
    for (const WheelEdge& edge : edges) {
        const int count = decoder.push(edge.tick, edge.signal, out.data());
        teeth.insert(teeth.end(), out.begin(), out.begin() + count);
    }
    const int count = decoder.finish(out.data());
    teeth.insert(teeth.end(), out.begin(), out.begin() + count);
    const Cut<double> wrapped = cut(run.config, teeth);
    ASSERT_GT(plain.bins.size(), 400U);
    ASSERT_EQ(plain.bins.size(), wrapped.bins.size());
    for (std::size_t i = 0; i < plain.bins.size(); ++i) {
        EXPECT_EQ(plain.bins[i].energy, wrapped.bins[i].energy);
        EXPECT_EQ(plain.bins[i].begin_tick - plain.bins[0].begin_tick,
                  wrapped.bins[i].begin_tick - wrapped.bins[0].begin_tick);
    }
}

TEST(Segmenter, LostEdgesAreBridgedAndOneStepMayEndSeveralBins) {
    Motion motion;
    motion.time_s = ramp(100.0, 0.0);
    motion.gone = [](double deg) {
        return (deg > 800.0 && deg < 880.0) || deg == 402.0 || std::fmod(deg, 90.0) == 30.0;
    };
    const Cut<double> result = cut(motion);
    motion.gone = [](double) { return false; };
    const Cut<double> whole = cut(motion);
    ASSERT_EQ(result.bins.size(), whole.bins.size());
    for (std::size_t i = 0; i < result.bins.size(); ++i) {
        EXPECT_EQ(result.bins[i].index, whole.bins[i].index);
        EXPECT_NEAR(result.bins[i].energy / whole.bins[i].energy, 1.0, 1e-6);
        EXPECT_EQ(result.bins[i].restart, i == 0);
    }
}

TEST(Segmenter, NoBinSpansALoss) {
    Motion motion;
    motion.time_s = ramp(100.0, 0.0);
    std::vector<Tooth> teeth = teeth_of(motion);
    // Two and a half revolutions are lost; the decoder says so at the first tooth after them.
    const auto lost_from = teeth.begin() + 200;
    const auto back = teeth.erase(lost_from, lost_from + 145);
    back->restart = true;
    const std::int64_t tick_before = std::prev(back)->tick;
    const std::int64_t tick_after = back->tick;
    const Cut<double> result = cut(motion.config, teeth);
    int restarts = 0;
    for (std::size_t i = 0; i < result.bins.size(); ++i) {
        const Bin<double>& bin = result.bins[i];
        const double end_tick = static_cast<double>(bin.begin_tick) + bin.ticks;
        EXPECT_TRUE(end_tick <= static_cast<double>(tick_before) + 1.0 || bin.begin_tick >= tick_after - 1);
        EXPECT_NEAR(bin.energy, 5000.0, 0.02);
        EXPECT_NEAR(static_cast<double>(bin.begin_tick), motion.time_s(begin_deg(motion, bin, 22.5)) * kHz, 2.0);
        restarts += bin.restart ? 1 : 0;
        if (i > 0) {
            EXPECT_EQ(bin.restart, bin.index > result.bins[i - 1].index + 1);
        }
    }
    EXPECT_EQ(restarts, 2);
}

TEST(Segmenter, BinNumbersNeverFallThoughRevolutionsAreCountedAgain) {
    // After a loss the index may have been wrong before: the wheel stands further back than it seemed.
    Motion motion;
    motion.time_s = ramp(100.0, 0.0);
    std::vector<Tooth> teeth = teeth_of(motion);
    for (std::size_t i = 300; i < teeth.size(); ++i) teeth[i].index = static_cast<int>((i - 300 + 5) % 58);
    for (std::size_t i = 300; i < teeth.size(); ++i)
        teeth[i].revolution = teeth[299].revolution + static_cast<int>((i - 295) / 58);
    teeth[300].restart = true;
    std::int64_t last = -1;
    for (const Bin<double>& bin : cut(motion.config, teeth).bins) {
        EXPECT_GT(bin.index, last);
        last = bin.index;
    }
}

TEST(Segmenter, PlacesCountFromCylinderOnesFiringTdc) {
    for (const double from_deg : {0.0, 90.0, 360.0, 450.0, 700.0}) {
        Motion motion;
        motion.from_deg = from_deg;
        motion.time_s = ramp(100.0, 0.0);
        const Cut<double> result = cut(motion);
        ASSERT_GT(result.bins.size(), 100U);
        for (const Bin<double>& bin : result.bins) {
            const double deg = static_cast<double>(bin.begin_tick) / kHz * 100.0 * 180.0 / std::numbers::pi;
            const double wanted =
                (deg - 84.0) / 22.5;  // the firing TDC stands 84 degrees after place 0 of a first half
            EXPECT_NEAR(std::remainder(result.place(bin) - wanted, 32.0), 0.0, 1e-3) << from_deg;
        }
    }
}

TEST(Segmenter, TwoStrokeKnowsNoHalves) {
    Motion motion;
    motion.config.engine.strokes = 2;
    motion.config.engine.cylinders = 2;
    motion.config.engine.firing_order = {1, 2};
    make_even_firing(motion.config.engine);
    motion.time_s = ramp(100.0, 0.0);
    std::vector<Tooth> teeth = teeth_of(motion);
    for (Tooth& tooth : teeth) tooth.half = 0;
    for (Tooth& tooth : teeth) tooth.phase_known = false;
    const Cut<double> result = cut(motion.config, teeth);
    ASSERT_GT(result.bins.size(), 100U);
    for (const Bin<double>& bin : result.bins) {
        EXPECT_TRUE(bin.phase_known);
        const double deg = static_cast<double>(bin.begin_tick) / kHz * 100.0 * 180.0 / std::numbers::pi;
        EXPECT_NEAR(std::remainder(result.place(bin) - (deg - 84.0) / result.grid.bin_deg, result.grid.bins), 0.0,
                    1e-3);
    }
}

TEST(Segmenter, AnUnknownPhaseIsHandedOn) {
    Motion motion;
    motion.time_s = ramp(100.0, 0.0);
    std::vector<Tooth> teeth = teeth_of(motion);
    for (std::size_t i = 0; i < 200; ++i) teeth[i].phase_known = false;
    const Cut<double> result = cut(motion.config, teeth);
    const auto known = [&](const Bin<double>& bin) {
        return static_cast<double>(bin.begin_tick) + bin.ticks > static_cast<double>(teeth[199].tick);
    };
    for (const Bin<double>& bin : result.bins) EXPECT_EQ(bin.phase_known, known(bin)) << bin.index;
}

}  // namespace
}  // namespace kurbel::test
