// The charge that the crank's own motion tells, on cycles of a rigid crank computed in fine steps of angle.
#include "kurbel/stage/firing_wave.hpp"

#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "stage/rigid_crank.hpp"
#include "support/even_engine.hpp"

namespace kurbel::test {
namespace {

constexpr double kWork = 3400.0;  // of a firing at full useful charge, rad^2/s^2
constexpr double kSlow = 300.0;   // energy at 230 rpm, where a wheel hides nothing
constexpr double kFarMode = 26.0;

struct Waves : CrankParts {
    explicit Waves(const EngineConfig& engine) : CrankParts(engine) {
        wave.begin(HealthyCycle(config.engine, grid), grid, config.crank_wheel.teeth, config.engine);
        bins.set_inertia(config.engine, grid);
        bins.set_cycle(grid.bins);
    }

    /// Two cycles in which all cylinders have this charge; of the last one those in `lost` do not burn. Ends where a firing begins.
    /// `air`: intake pressure in bar, throttled as the charge is where it is 0.
    void run(double charge, double energy = kSlow, const std::vector<int>& lost = {}, double air = 0.0) {
        PerPlace work = all_places(is_diesel(config.engine) ? charge : charge - 0.09);  // told fuel works, all of it
        const PerPlace intake = all_places((air > 0.0 ? air : charge) / 11.0);
        cycle(rigid_differences(*this, work, intake), energy);
        for (const int place : lost) work[static_cast<std::size_t>(place)] = 0.0;
        cycle(rigid_differences(*this, work, intake), energy);
        push(energy);
    }
    [[nodiscard]] double charge(double mode_per_rev = kFarMode) const {
        return wave.charge(bins, bins.newest(), kWork, mode_per_rev);
    }

    /// How many times the work there is that `told` is a share of.
    [[nodiscard]] FiringWave<double>::Size size(double told, double charge) const {
        return wave.size(bins, bins.newest(), told * kWork, charge, kFarMode);
    }

    FiringWave<double> wave{};
    BinHistory<double> bins{};

  private:
    void cycle(const CycleOfBins& difference, double energy) {
        double beyond = 0.0;
        for (int b = 0; b < grid.bins; ++b) {
            push(energy + kWork * beyond);
            beyond += difference[static_cast<std::size_t>(b)];
        }
    }
    void push(double energy) {
        Bin<double> bin;
        bin.index = next_;
        bin.energy = energy;
        bin.ticks = 1000.0;
        bin.begin_tick = 1000 * next_;
        bins.push(bin, 0.0, 0U, next_ % grid.bins);
        ++next_;
    }

    std::int64_t next_ = 0;
};

std::vector<EngineConfig> even_engines() {
    std::vector<EngineConfig> engines{engine_of({1, 3, 2}), engine_of({1, 3, 4, 2}), engine_of({1, 2, 4, 5, 3}),
                                      engine_of({1, 5, 3, 6, 2, 4}), engine_of({1, 8, 4, 3, 6, 5, 7, 2})};
    for (EngineConfig& engine : engines) engine = without_pistons(engine);
    return engines;
}

TEST(FiringWave, TellsTheChargeOfAnEvenlyFiringEngine) {
    for (const EngineConfig& engine : even_engines())
        for (const double charge : {0.2, 0.5, 0.9}) {
            Waves waves(engine);
            ASSERT_TRUE(waves.wave.shows());
            waves.run(charge);
            EXPECT_NEAR(waves.charge(), charge, charge / 50.0) << engine.cylinders;
        }
}

TEST(FiringWave, NoMisfireChangesIt) {
    for (const EngineConfig& engine : even_engines())
        for (int lost = 0; lost < engine.cylinders; ++lost) {
            Waves waves(engine);
            waves.run(0.5, kSlow, {lost});
            EXPECT_NEAR(waves.charge(), 0.5, 0.03) << engine.cylinders << " " << lost;
        }
    Waves four(engine_of({1, 3, 4, 2}));
    four.run(0.5, kSlow, {0, 2});
    EXPECT_NEAR(four.charge(), 0.5, 0.03);
}

TEST(FiringWave, StaysNearTheUsualLoadWhereWheelOrTorsionHideIt) {
    Waves waves(engine_of({1, 3, 4, 2}));
    waves.run(0.9);
    EXPECT_NEAR(waves.charge(2.0), 0.35, 0.01) << "the mode is where the wave is";
    Waves fast(engine_of({1, 8, 4, 3, 6, 5, 7, 2}));
    fast.run(0.9, 197000.0);  // 6000 rpm
    EXPECT_NEAR(fast.charge(), 0.35, 0.12) << "the wheel's errors grow with the square of speed";
}

TEST(FiringWave, TellsHowManyTimesTheExpectedWorkThereIs) {
    for (const EngineConfig& engine : even_engines())
        for (const double charge : {0.25, 0.8})
            for (const double told : {0.1, 1.0, 10.0}) {
                Waves waves(engine);
                waves.run(charge);
                EXPECT_NEAR(waves.size(told, charge).ratio, 1.0 / told, 0.03 / told) << engine.cylinders;
            }
}

TEST(FiringWave, ASizeIsLikelyWhereTheWaveIsThatManyTimesWhatIsExpected) {
    Waves waves(engine_of({1, 5, 3, 6, 2, 4}));
    waves.run(0.8);
    const auto size = waves.size(10.0, 0.8);
    EXPECT_GT(waves.wave.evidence(size, 0.1), waves.wave.evidence(size, 0.2));
    EXPECT_GT(waves.wave.evidence(size, 0.1), waves.wave.evidence(size, 0.05));
    EXPECT_GT(waves.wave.evidence(size, 0.1), waves.wave.evidence(size, 1.0) + 10.0)
        << "no error is as large as a slip";
}

TEST(FiringWave, ADieselsWaveAtLightLoadIsNoSlip) {
    // All of the air at a fifth of the fuel.
    EngineConfig engine = engine_of({1, 3, 4, 2});
    for (const double ratio : {kUnknown, 17.0}) {
        engine.compression_ratio = ratio;
        Waves waves(engine);
        waves.run(0.2, kSlow, {}, 1.0);
        const auto size = waves.size(1.0, 0.2);
        EXPECT_GT(size.ratio, 2.0);
        EXPECT_NEAR(size.ratio, size.unthrottled, 0.05 * size.ratio);
        EXPECT_GT(waves.wave.evidence(size, 1.0), -4.0);
    }
    engine.compression_ratio = 10.0;
    Waves throttled(engine);
    throttled.run(0.2, kSlow, {}, 1.0);
    const auto size = throttled.size(1.0, 0.2);
    EXPECT_GT(throttled.wave.evidence(size, size.ratio), throttled.wave.evidence(size, 1.0))
        << "no diesel has that ratio";
}

TEST(FiringWave, SaysNothingOfEnginesWhoseFiringsMakeNoWave) {
    EXPECT_FALSE(Waves(engine_of({1})).wave.shows());
    EXPECT_FALSE(Waves(engine_of({1, 2})).wave.shows());
    EXPECT_FALSE(Waves(engine_of({1, 6, 5, 4, 3, 2}, {0, 90, 240, 330, 480, 570})).wave.shows());
}

}  // namespace
}  // namespace kurbel::test
