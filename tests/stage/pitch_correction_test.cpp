// Learning where teeth stand, on teeth whose motion is known in closed form.
#include "kurbel/stage/pitch_correction.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <memory>
#include <numbers>
#include <random>
#include <vector>

#include "kurbel/stage/segmenter.hpp"

namespace kurbel {
namespace {

Config inline4(int positions, std::vector<int> absent) {
    Config config;
    config.engine.cylinders = 4;
    config.engine.firing_order = {1, 3, 4, 2};
    make_even_firing(config.engine);
    // Hardly any piston, and no bore: what gas may do is then anybody's guess, and these cranks swing as each test says.
    config.engine.stroke_mm = 86.0;
    config.engine.rod_mm = 145.0;
    config.engine.compression_ratio = 10.0;
    config.engine.reciprocating_kg = 1e-3;
    config.engine.inertia_kg_m2 = 0.15;
    EXPECT_TRUE(make_even_wheel(positions, absent.data(), static_cast<int>(absent.size()), config.crank_wheel).ok());
    config.crank_wheel.tdc1_deg = 84.0;
    config.timer.hz = 1e9;
    return config;
}

std::vector<double> drawn_errors(int teeth, double deviation_deg, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal;
    std::vector<double> errors;
    double mean = 0.0;
    for (int j = 0; j < teeth; ++j) {
        errors.push_back(deviation_deg * normal(random));
        mean += errors.back() / teeth;
    }
    for (double& error : errors) error -= mean;
    return errors;
}

/// A crank whose speed and swing are given: teeth in order of time.
struct Crank {
    double begin_rad_s = 150.0;
    double acceleration_rad_s2 = 0.0;
    double jitter_deg = 0.0;
    double load = 0.4;
    bool fires = false;
    bool phase_known = false;
    /// Swing of the angle, degrees, at this angle and speed.
    std::function<double(double, double)> swing_deg = [](double, double) { return 0.0; };
};

template <class Real>
void turn(const Config& config, const Crank& crank, const std::vector<double>& errors, int revolutions,
          PitchCorrection<Real>& pitch, int skip_tooth = -1) {
    std::mt19937 random(7);
    std::normal_distribution<double> normal;
    const double deg = 180.0 / std::numbers::pi;
    for (int r = 0; r < revolutions; ++r)
        for (int j = 0; j < config.crank_wheel.teeth; ++j) {
            const auto at = static_cast<std::size_t>(j);
            const double told = static_cast<double>(config.crank_wheel.angle_deg[at]) + 360.0 * r;
            const double angle = (told + errors[at] + crank.jitter_deg * normal(random)) / deg;
            // angle = w t + a t^2 / 2 + swing
            const auto time_of = [&](double smooth_rad) {
                const double a = crank.acceleration_rad_s2;
                const double w = crank.begin_rad_s;
                return std::fabs(a) < 1e-9 ? smooth_rad / w : (std::sqrt(w * w + 2.0 * a * smooth_rad) - w) / a;
            };
            const double speed =
                std::sqrt(crank.begin_rad_s * crank.begin_rad_s + 2.0 * crank.acceleration_rad_s2 * angle);
            const double smooth = angle - crank.swing_deg(angle, speed) / deg;
            Tooth tooth;
            tooth.index = j;
            tooth.revolution = r;
            tooth.half = static_cast<std::uint8_t>(r & 1);
            tooth.phase_known = crank.phase_known;
            tooth.tick = std::llround((1.0 + time_of(smooth)) * config.timer.hz);
            if (r % 50 == 49 && j == skip_tooth) continue;
            pitch.push(tooth, static_cast<Real>(crank.load), crank.fires);
        }
}

double rms_left(const WheelErrors& found, const std::vector<double>& errors) {
    double sum = 0.0;
    for (std::size_t j = 0; j < errors.size(); ++j) {
        const double left = static_cast<double>(found.error_deg[j]) - errors[j];
        sum += left * left / static_cast<double>(errors.size());
    }
    return std::sqrt(sum);
}

class PitchWheels : public ::testing::TestWithParam<std::pair<int, std::vector<int>>> {};

TEST_P(PitchWheels, FallsOutOfASmoothlyTurningCrankWhoseSpeedDoubles) {
    const Config config = inline4(GetParam().first, GetParam().second);
    const std::vector<double> errors = drawn_errors(config.crank_wheel.teeth, 0.1, 3);
    const auto pitch = std::make_unique<PitchCorrection<double>>();
    pitch->configure(config);
    Crank crank;
    crank.begin_rad_s = 200.0;
    crank.acceleration_rad_s2 = 48.0;  // 400 rad/s after 200 revolutions
    crank.jitter_deg = 0.01;
    turn(config, crank, errors, 200, *pitch);
    PitchCorrection<double>::Report report;
    const WheelErrors found = pitch->errors(&report);
    ASSERT_EQ(found.teeth, config.crank_wheel.teeth);
    EXPECT_GE(report.cycles, 95);
    EXPECT_LT(rms_left(found, errors), 0.03);
    EXPECT_LT(rms_left(found, errors), 3.0 * report.rms_se_deg);
}

INSTANTIATE_TEST_SUITE_P(All, PitchWheels,
                         ::testing::Values(std::pair{60, std::vector<int>{58, 59}}, std::pair{36, std::vector<int>{35}},
                                           std::pair{36, std::vector<int>{12, 13, 30, 31, 34, 35}},
                                           std::pair{24, std::vector<int>{23}}, std::pair{12, std::vector<int>{11}},
                                           std::pair{4, std::vector<int>{3}}));

TEST(PitchCorrection, TellsTheWheelFromASwingThatFallsWithTheSquareOfTheSpeed) {
    const Config config = inline4(60, {58, 59});
    const std::vector<double> errors = drawn_errors(58, 0.1, 4);
    const auto pitch = std::make_unique<PitchCorrection<double>>();
    pitch->configure(config);
    Crank crank;
    crank.begin_rad_s = 150.0;
    crank.acceleration_rad_s2 = 27.0;  // 300 rad/s
    crank.jitter_deg = 0.01;
    // As gas torque does, and not what the geometry makes likely.
    crank.swing_deg = [](double angle, double speed) {
        const double u = (200.0 / speed) * (200.0 / speed);
        return u * (0.10 * std::sin(2.0 * angle + 0.4) + 0.02 * std::sin(4.0 * angle));
    };
    turn(config, crank, errors, 200, *pitch);
    PitchCorrection<double>::Report report;
    const WheelErrors found = pitch->errors(&report);
    EXPECT_LT(rms_left(found, errors), 0.01);
    EXPECT_NEAR(report.jitter_deg, 0.01, 0.002);
    EXPECT_NEAR(report.usual_deg, 0.1, 0.03);
}

TEST(PitchCorrection, SaysThatOneSpeedDoesNotTellThemApart) {
    const Config config = inline4(60, {58, 59});
    const std::vector<double> errors = drawn_errors(58, 0.02, 4);
    const auto steady = std::make_unique<PitchCorrection<double>>();
    const auto swept = std::make_unique<PitchCorrection<double>>();
    steady->configure(config);
    swept->configure(config);
    Crank crank;
    crank.begin_rad_s = 100.0;
    crank.jitter_deg = 0.01;
    crank.fires = true;
    turn(config, crank, errors, 200, *steady);
    crank.acceleration_rad_s2 = 12.0;
    turn(config, crank, errors, 200, *swept);
    PitchCorrection<double>::Report one;
    PitchCorrection<double>::Report two;
    static_cast<void>(steady->errors(&one));
    static_cast<void>(swept->errors(&two));
    EXPECT_GT(one.rms_se_deg, 1.3 * two.rms_se_deg);
}

/// A six whose crank twists: its resonance, its damper's share and its burns are other than expected.
struct TwistingSix {
    Config config = [] {
        Config six = inline4(60, {58, 59});
        six.engine.cylinders = 6;
        six.engine.firing_order = {1, 5, 3, 6, 2, 4};
        make_even_firing(six.engine);
        six.engine.bore_mm = 84.0;
        six.engine.reciprocating_kg = 0.45;
        six.engine.inertia_kg_m2 = 0.2;
        six.crank_wheel.at = SensorAt::front;
        return six;
    }();
    CrankWobble wobble{};

    TwistingSix() {
        wobble.build(config);
        CrankWobble::Values values{};
        values[CrankWobble::mode] = -1.0;
        values[CrankWobble::pulley] = 0.8;
        values[CrankWobble::burn] = -1.0;
        values[CrankWobble::late] = 0.7;
        values[CrankWobble::first_cylinder + 1] = -0.5;
        values[CrankWobble::first_cylinder + 4] = 0.6;
        wobble.set(values, {});
    }

    [[nodiscard]] Crank crank(double begin_rad_s, double acceleration_rad_s2) const {
        Crank result;
        result.begin_rad_s = begin_rad_s;
        result.acceleration_rad_s2 = acceleration_rad_s2;
        result.jitter_deg = 0.01;
        result.fires = true;
        result.load = 0.6;
        result.swing_deg = [this](double angle, double speed) {
            double sum = 0.0;
            for (int twice = 1; twice <= 2 * CrankWobble::kOrders; ++twice)
                sum += 2.0 * (wobble.swing(twice, {speed, 0.6, true}, nullptr) *
                              std::polar(1.0, 0.5 * twice * (angle - to_rad(config.crank_wheel.tdc1_deg))))
                                 .real();
            return -sum;  // a tooth seems to stand back where the crank is ahead
        };
        return result;
    }
};

TEST(PitchCorrection, TellsTheWheelFromATwistingCrankByWhatAllOrdersShare) {
    const TwistingSix six;
    const std::vector<double> errors = drawn_errors(58, 0.08, 6);
    const auto pitch = std::make_unique<PitchCorrection<double>>();
    pitch->configure(six.config);
    Crank crank = six.crank(210.0, 52.0);  // 420 rad/s: orders 4 to 8 pass the resonance
    crank.phase_known = true;
    turn(six.config, crank, errors, 200, *pitch);
    PitchCorrection<double>::Report report;
    const WheelErrors found = pitch->errors(&report);
    // What it has to be told from, at a middle speed.
    double swing = 0.0;
    for (int twice = 2; twice <= 2 * CrankWobble::kOrders; twice += 2)
        swing += 2.0 * std::norm(six.wobble.swing(twice, {300.0, 0.6, true}, nullptr));
    EXPECT_GT(std::sqrt(swing), 3.0 * rms_left(found, errors));
    EXPECT_LT(rms_left(found, errors), 0.006);
    EXPECT_LT(rms_left(found, errors), 2.0 * report.rms_se_deg);
}

TEST(PitchCorrection, LearnsTheCrankFromWhatBothRevolutionsDifferBy) {
    const TwistingSix six;
    const std::vector<double> errors = drawn_errors(58, 0.08, 6);
    PitchCorrection<double>::Report known;
    PitchCorrection<double>::Report unknown;
    for (const bool phase_known : {false, true}) {
        const auto pitch = std::make_unique<PitchCorrection<double>>();
        pitch->configure(six.config);
        Crank crank = six.crank(380.0, 4.0);  // next to one speed
        crank.phase_known = phase_known;
        turn(six.config, crank, errors, 200, *pitch);
        const WheelErrors found = pitch->errors(phase_known ? &known : &unknown);
        EXPECT_LT(rms_left(found, errors), 2.0 * static_cast<double>(found.rms_se_deg));
    }
    EXPECT_LT(known.rms_se_deg, 0.9 * unknown.rms_se_deg);
}

TEST(PitchCorrection, TellsTheWheelFromALightTwinWhoseSpeedSwingsByMuch) {
    // Energy is what torque adds to; speed is its root. Here time over angle is 1 / sqrt(1 + 2 E) to the last digit, so that half orders
    // make whole ones among themselves.
    Config config = inline4(60, {58, 59});
    config.engine.cylinders = 2;
    config.engine.firing_order = {1, 2};
    config.engine.firing_tdc_deg = {0.0, 180.0};
    config.engine.bore_mm = 73.0;
    config.engine.reciprocating_kg = 0.35;
    config.engine.inertia_kg_m2 = 0.04;
    config.crank_wheel.at = SensorAt::flywheel;
    CrankWobble wobble;
    wobble.build(config);
    wobble.set({}, {});
    const std::vector<double> errors = drawn_errors(58, 0.08, 8);
    const auto pitch = std::make_unique<PitchCorrection<double>>();
    pitch->configure(config);
    constexpr int kSteps = 7200;
    for (const double speed : {180.0, 220.0, 270.0, 330.0, 400.0}) {
        std::vector<double> late(kSteps + 1, 0.0);
        double swings = 0.0;
        for (int i = 0; i < kSteps; ++i) {
            double energy = 0.0;
            for (int twice = 1; twice <= 2 * CrankWobble::kOrders; ++twice) {
                const double order = 0.5 * twice;
                const auto swing = to_rad(1.0) * wobble.swing(twice, {speed, 0.5, true}, nullptr);
                energy -=
                    2.0 *
                    (swing * std::complex<double>(0.0, order) * std::polar(1.0, order * to_rad(0.1 * i + 0.05))).real();
            }
            late[static_cast<std::size_t>(i + 1)] =
                late[static_cast<std::size_t>(i)] + (1.0 / std::sqrt(1.0 + 2.0 * energy) - 1.0) * 0.1;
            swings = std::max(swings, std::fabs(energy));
        }
        if (speed < 200.0) {
            EXPECT_GT(swings, 0.05);
        }
        const double whole = late.back();
        Crank crank;
        crank.begin_rad_s = speed;
        crank.jitter_deg = 0.01;
        crank.load = 0.5;
        crank.fires = true;
        crank.phase_known = true;
        crank.swing_deg = [&](double angle, double) {
            const double deg = std::fmod(angle / to_rad(1.0) - config.crank_wheel.tdc1_deg + 7200.0, 720.0);
            const auto i = static_cast<std::size_t>(deg * 10.0);
            const double share = deg * 10.0 - static_cast<double>(i);
            return -(late[i] + share * (late[i + 1] - late[i]) - whole * deg / 720.0);
        };
        turn(config, crank, errors, 60, *pitch);
    }
    PitchCorrection<double>::Report report;
    const WheelErrors found = pitch->errors(&report);
    EXPECT_LT(rms_left(found, errors), 0.02);  // 0.05 where speed is taken for energy
    EXPECT_LT(rms_left(found, errors), 2.0 * report.rms_se_deg);
}

TEST(PitchCorrection, LeavesAPerfectWheelAlone) {
    const Config config = inline4(60, {58, 59});
    const auto pitch = std::make_unique<PitchCorrection<double>>();
    pitch->configure(config);
    Crank crank;
    crank.jitter_deg = 0.03;
    turn(config, crank, std::vector<double>(58, 0.0), 200, *pitch);
    PitchCorrection<double>::Report report;
    const WheelErrors found = pitch->errors(&report);
    EXPECT_LT(report.rms_deg, 0.012);
    EXPECT_LT(rms_left(found, std::vector<double>(58, 0.0)), 2.0 * report.rms_se_deg);
}

TEST(PitchCorrection, TakesABentToothAsItIs) {
    const Config config = inline4(60, {58, 59});
    std::vector<double> errors = drawn_errors(58, 0.01, 9);
    errors[0] += 1.5;  // the first after the gap, as an inductive sensor shows it
    for (double& error : errors) error -= 1.5 / 58.0;
    const auto pitch = std::make_unique<PitchCorrection<double>>();
    pitch->configure(config);
    Crank crank;
    crank.acceleration_rad_s2 = 30.0;
    crank.jitter_deg = 0.01;
    turn(config, crank, errors, 200, *pitch);
    PitchCorrection<double>::Report report;
    const WheelErrors found = pitch->errors(&report);
    EXPECT_NEAR(static_cast<double>(found.error_deg[0]), errors[0], 0.02);
    EXPECT_LT(rms_left(found, errors), 0.01);
    EXPECT_LT(report.usual_deg, 0.03);
}

TEST(PitchCorrection, DropsCyclesWithAToothMissing) {
    const Config config = inline4(36, {35});
    const std::vector<double> errors = drawn_errors(35, 0.1, 5);
    const auto whole = std::make_unique<PitchCorrection<double>>();
    const auto broken = std::make_unique<PitchCorrection<double>>();
    whole->configure(config);
    broken->configure(config);
    turn(config, {}, errors, 200, *whole);
    turn(config, {}, errors, 200, *broken, 17);
    EXPECT_LT(broken->cycles(), whole->cycles());
    EXPECT_GT(broken->cycles(), whole->cycles() - 16);
    const WheelErrors a = whole->errors();
    const WheelErrors b = broken->errors();
    for (std::size_t j = 0; j < 35; ++j) EXPECT_NEAR(a.error_deg[j], b.error_deg[j], 1e-3F);
}

TEST(PitchCorrection, KnowsItsOwnWheelFromAnother) {
    const Config config = inline4(60, {58, 59});
    const std::vector<double> errors = drawn_errors(58, 0.05, 11);
    const std::vector<double> others = drawn_errors(58, 0.05, 12);
    const auto first = std::make_unique<PitchCorrection<double>>();
    const auto again = std::make_unique<PitchCorrection<double>>();
    const auto other = std::make_unique<PitchCorrection<double>>();
    for (auto* pitch : {first.get(), again.get(), other.get()}) pitch->configure(config);
    Crank crank;
    crank.jitter_deg = 0.02;
    turn(config, crank, errors, 200, *first);
    crank.begin_rad_s = 180.0;
    turn(config, crank, errors, 60, *again);
    turn(config, crank, others, 60, *other);
    const WheelErrors learned = first->errors();
    EXPECT_GT(again->compare(learned).log_odds, 7.0);
    EXPECT_LT(other->compare(learned).log_odds, -7.0);
    EXPECT_LT(again->compare(learned).chi_square, 2.0 * again->compare(learned).patterns);
    EXPECT_GT(other->compare(learned).chi_square, 4.0 * other->compare(learned).patterns);
    EXPECT_LT(again->compare(learned).rms_left_deg, 0.02);
}

/// Largest over smallest energy of the bins of an evenly turning crank, less one.
double unevenness(const Config& config, const std::vector<double>& errors) {
    Segmenter<double> segmenter;
    segmenter.configure(config, make_cycle_grid(config.engine, config.crank_wheel));
    double least = 1e300;
    double most = 0.0;
    for (int r = 0; r < 6; ++r)
        for (int j = 0; j < config.crank_wheel.teeth; ++j) {
            const auto at = static_cast<std::size_t>(j);
            Tooth tooth;
            tooth.index = j;
            tooth.revolution = r;
            tooth.half = static_cast<std::uint8_t>(r & 1);
            tooth.tick =
                std::llround((static_cast<double>(config.crank_wheel.angle_deg[at]) + 360.0 * r + errors[at]) * 1e5);
            segmenter.push(tooth, [&](const Bin<double>& bin) {
                least = std::min(least, bin.energy);
                most = std::max(most, bin.energy);
            });
        }
    return most / least - 1.0;
}

TEST(PitchCorrection, MakesTheSegmenterSeeAnEvenTurnAsEven) {
    Config config = inline4(60, {58, 59});
    const std::vector<double> errors = drawn_errors(58, 0.1, 21);
    const double before = unevenness(config, errors);
    EXPECT_GT(before, 0.01);
    config.wheel_errors.teeth = 58;
    for (std::size_t j = 0; j < 58; ++j) config.wheel_errors.error_deg[j] = static_cast<float>(errors[j]);
    EXPECT_TRUE(validate(config.wheel_errors, config.crank_wheel).ok());
    EXPECT_LT(unevenness(config, errors), 1e-5);
}

TEST(PitchCorrection, IsRefusedWhereItIsNotOfThisWheel) {
    Config config = inline4(36, {35});
    config.cam_wheel.edges = 1;
    config.cam_wheel.edge_deg[0] = 50.0;
    EXPECT_TRUE(validate(config).ok());
    config.wheel_errors.teeth = 58;
    EXPECT_STREQ(validate(config).parameter, "wheel_errors");
    config.wheel_errors.teeth = 35;
    EXPECT_TRUE(validate(config).ok());
    config.wheel_errors.error_deg[3] = 11.0F;  // past the next tooth
    EXPECT_FALSE(validate(config).ok());
    config.wheel_errors.error_deg[3] = std::numeric_limits<float>::quiet_NaN();
    EXPECT_FALSE(validate(config).ok());
}

TEST(PitchCorrection, InFloatFindsTheSame) {
    const Config config = inline4(60, {58, 59});
    const std::vector<double> errors = drawn_errors(58, 0.1, 3);
    const auto wide = std::make_unique<PitchCorrection<double>>();
    const auto narrow = std::make_unique<PitchCorrection<float>>();
    wide->configure(config);
    narrow->configure(config);
    Crank crank;
    crank.jitter_deg = 0.01;
    turn(config, crank, errors, 200, *wide);
    turn(config, crank, errors, 200, *narrow);
    const WheelErrors a = wide->errors();
    const WheelErrors b = narrow->errors();
    for (std::size_t j = 0; j < 58; ++j) EXPECT_NEAR(a.error_deg[j], b.error_deg[j], 1e-3F);
}

TEST(PitchCorrection, KnowsNothingBeforeTheFirstCycle) {
    const Config config = inline4(60, {58, 59});
    const auto pitch = std::make_unique<PitchCorrection<double>>();
    pitch->configure(config);
    EXPECT_EQ(pitch->errors().teeth, 0);
    turn(config, {}, drawn_errors(58, 0.1, 1), 3, *pitch);
    EXPECT_EQ(pitch->errors().teeth, 0);
    EXPECT_EQ(pitch->compare(WheelErrors{}).patterns, 0);
}

}  // namespace
}  // namespace kurbel
