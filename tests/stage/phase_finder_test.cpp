// The firing revolution from the crank alone, on the engine on paper: its physics is richer than the finder's template
// (elastic crank, scatter, gas exchange, friction, wheel error), and its cam tells the truth.
#include "kurbel/stage/phase_finder.hpp"

#include <gtest/gtest.h>

#include <string>
#include <type_traits>
#include <utility>
#include <vector>

#include "kurbel/simulate/simulator.hpp"
#include "kurbel/stage/decoder.hpp"
#include "kurbel/stage/segmenter.hpp"
#include "simulate/engines.hpp"
#include "support/slice.hpp"

namespace kurbel {
namespace {

using Finder = PhaseFinder<double>;
using simulate::Scenario;

Scenario engine(std::initializer_list<int> order, std::initializer_list<double> tdc_deg = {}) {
    Scenario s = simulate::test::inline_engine(order);
    std::size_t i = 0;
    for (const double deg : tdc_deg) s.engine.firing_tdc_deg[i++] = deg;
    s.seconds = 4.0;
    s.settle_s = 3.0;
    s.wheel_error.pitch_deg = 0.1;
    s.wheel_error.jitter_deg = 0.01;
    return s;
}

struct NamedEngine {
    const char* name;
    Scenario scenario;
};

std::vector<NamedEngine> asymmetric_engines() {
    return {{"single", engine({1})},
            {"I3", engine({1, 3, 2})},
            {"I5", engine({1, 2, 4, 5, 3})},
            {"twin, 180-540", engine({1, 2}, {0.0, 180.0})},
            {"twin, 270-450", engine({1, 2}, {0.0, 270.0})},
            {"twin, 315-405", engine({1, 2}, {0.0, 315.0})},
            {"odd-fire six", engine({1, 6, 5, 4, 3, 2}, {0.0, 150.0, 240.0, 390.0, 480.0, 630.0})},
            {"semi-even six", engine({1, 6, 5, 4, 3, 2}, {0.0, 132.0, 240.0, 372.0, 480.0, 612.0})}};
}

constexpr std::uint32_t kNoneCut = 0;

struct Told {
    Finder right;            ///< fed with bins counted from the true revolution
    Finder wrong;            ///< fed with bins counted from the other one
    int right_decided = -1;  ///< cycles until the answer, -1 = none
    int wrong_decided = -1;
    bool ever_false = false;  ///< a wrong answer at any time
};

/// All that need not be said about an engine is left out.
Config undescribed(Config config) {
    config.crank_wheel.at = SensorAt::unknown;
    config.engine.throw_number.fill(0);
    config.engine.bore_mm = config.engine.stroke_mm = config.engine.rod_mm = kUnknown;
    config.engine.compression_ratio = config.engine.reciprocating_kg = config.engine.inertia_kg_m2 = kUnknown;
    return config;
}

/// Hands over bins of the true revolution, as the cam tells it.
template <class Sink>
void with_bins(const read::Recording& recording, const Config& config, Sink&& sink) {
    const CycleGrid grid = make_cycle_grid(config.engine, config.crank_wheel);
    Decoder decoder;
    decoder.configure(config);
    Segmenter<double> segmenter;
    segmenter.configure(config, grid);
    std::array<Tooth, kMaxTeethPerPush> teeth;
    const auto take = [&](const Bin<double>& bin) {
        if (bin.phase_known) sink(bin, static_cast<int>((bin.index + bin.turn) % grid.bins), grid.bins);
    };
    for (std::size_t i = 0; i < recording.tick.size(); ++i) {
        const int count = decoder.push(recording.tick[i], static_cast<Signal>(recording.signal[i]), teeth.data());
        for (int k = 0; k < count; ++k) segmenter.push(teeth[static_cast<std::size_t>(k)], take);
    }
}

Told tell(const read::Recording& recording, std::uint32_t cut = kNoneCut, bool described = true) {
    const Config config = described ? recording.config : undescribed(recording.config);
    const CycleGrid grid = make_cycle_grid(config.engine, config.crank_wheel);
    Told told;
    told.right.configure(config, grid.bins);
    told.wrong.configure(config, grid.bins);
    int cycles = 0;
    with_bins(recording, config, [&](const Bin<double>& bin, int place, int bins) {
        cycles += place == 0 ? 1 : 0;
        told.right.push(place, bin.energy, !bin.restart, cut);
        told.wrong.push((place + bins / 2) % bins, bin.energy, !bin.restart, cut);
        const Finder::Answer right = told.right.answer();
        const Finder::Answer wrong = told.wrong.answer();
        if (told.right_decided < 0 && right != Finder::Answer::undecided) told.right_decided = cycles;
        if (told.wrong_decided < 0 && wrong != Finder::Answer::undecided) told.wrong_decided = cycles;
        told.ever_false = told.ever_false || right == Finder::Answer::flipped || wrong == Finder::Answer::right;
    });
    return told;
}

Told tell(const Scenario& scenario, std::uint32_t cut = kNoneCut, bool described = true) {
    return tell(simulate::simulate(scenario), cut, described);
}

void expect_told(const std::string& name, const Scenario& scenario, std::uint32_t cut, int most_cycles,
                 bool described = true) {
    SCOPED_TRACE(name);
    const Told told = tell(scenario, cut, described);
    EXPECT_FALSE(told.ever_false);
    EXPECT_GE(told.right_decided, 0);
    EXPECT_GE(told.wrong_decided, 0);
    EXPECT_LE(told.right_decided, most_cycles);
    EXPECT_LE(told.wrong_decided, most_cycles + 2);
}

simulate::MisfireRule misfires(simulate::MisfirePattern pattern, std::vector<int> cylinders = {}) {
    simulate::MisfireRule rule;
    rule.pattern = pattern;
    rule.cylinders = std::move(cylinders);
    return rule;
}

TEST(PhaseFinder, TellsAtIdle) {
    for (const NamedEngine& e : asymmetric_engines()) {
        expect_told(e.name, e.scenario, kNoneCut, 12);
        expect_told(std::string(e.name) + ", undescribed", e.scenario, kNoneCut, 12, false);
    }
}

TEST(PhaseFinder, ADeadCylinderDoesNotTurnTheSign) {
    for (const NamedEngine& e : asymmetric_engines()) {
        if (e.scenario.engine.cylinders < 2) continue;
        for (int cylinder = 1; cylinder <= e.scenario.engine.cylinders; cylinder += test::kStride) {
            Scenario s = e.scenario;
            s.misfires = {misfires(simulate::MisfirePattern::continuous, {cylinder})};
            expect_told(std::string(e.name) + ", dead cylinder " + std::to_string(cylinder), s, kNoneCut, 20);
        }
    }
}

TEST(PhaseFinder, TwoDeadCylindersNeither) {
    for (int second = 2; second <= 5; ++second) {
        Scenario s = simulate::test::in_gear(engine({1, 2, 4, 5, 3}), 2000.0, 0.5);
        s.seconds = 2.0;
        s.misfires = {misfires(simulate::MisfirePattern::continuous, {1, second})};
        expect_told("I5, dead cylinders 1 and " + std::to_string(second), s, kNoneCut, 20);
    }
}

TEST(PhaseFinder, AMistypedTdcDoesNotTurnItEither) {
    for (const NamedEngine& e : asymmetric_engines())
        for (const double off_deg : {-18.0, 18.0}) {
            SCOPED_TRACE(std::string(e.name) + ", TDC off by " + std::to_string(off_deg));
            const read::Recording recording = simulate::simulate(e.scenario);
            read::Recording shifted = recording;
            shifted.config.crank_wheel.tdc1_deg += off_deg;
            shifted.config.cam_wheel.edge_deg[0] -= off_deg;
            const Told told = tell(shifted);
            EXPECT_FALSE(told.ever_false);
            EXPECT_GE(told.right_decided, 0);
            EXPECT_GE(told.wrong_decided, 0);
        }
}

TEST(PhaseFinder, TellsWhileCrankedWithoutFuel) {
    for (const NamedEngine& e : asymmetric_engines()) {
        Scenario s = e.scenario;
        s.settle_s = 0.0;
        s.operation.mode = simulate::Operation::cranking;
        s.fuel_cuts = {simulate::FuelCut{}};
        expect_told(e.name, s, (1U << s.engine.cylinders) - 1U, 12);
    }
}

TEST(PhaseFinder, ACylinderThatIsSwitchedOffIsReckonedWith) {
    Scenario s = engine({1, 3, 2});
    s.fuel_cuts = {simulate::FuelCut{3, -1e9, 1e9}};
    expect_told("I3, cylinder 3 off", s, 1U << 1U, 12);
}

TEST(PhaseFinder, TellsAtSpeedWithinSecondsAndIsNeverWrong) {
    // What torsion makes of order 2.5 at 6000 rpm (250 Hz), no crank of unknown stiffness tells: then it may say nothing.
    int round = 0;
    for (const NamedEngine& e : asymmetric_engines())
        for (const SensorAt at : {SensorAt::front, SensorAt::flywheel})
            for (const double hz : {250.0, 400.0})
                for (const double rpm : {2000.0, 3500.0, 6000.0}) {
                    if (round++ % test::kStride != 0) continue;
                    Scenario s = simulate::test::in_gear(e.scenario, rpm, rpm > 5000.0 ? 0.5 : 0.3);
                    s.crank.first_torsion_hz = hz;
                    s.crank_wheel.at = at;
                    s.misfires = {misfires(simulate::MisfirePattern::random)};
                    s.settle_s = 1.5;
                    s.seconds = 1.5;
                    const std::string name = std::string(e.name) + ", " +
                                             (at == SensorAt::front ? "front" : "flywheel") + ", " +
                                             std::to_string(hz) + " Hz, " + std::to_string(rpm) + " rpm";
                    const Told told = tell(s);
                    EXPECT_FALSE(told.ever_false) << name;
                    // What short cranks as stiff as usual leave plain has to be told.
                    const bool plain = hz > 300.0 || rpm < 5000.0;
                    if (e.scenario.engine.cylinders <= 3 && plain) {
                        EXPECT_GE(told.right_decided, 0) << name;
                    }
                }
}

TEST(PhaseFinder, SymmetricEnginesAreNeverDecided) {
    const Scenario four = simulate::test::inline_four();
    EXPECT_TRUE(symmetric_under_360(four.engine));
    Finder finder;
    Config config;
    config.engine = four.engine;
    finder.configure(config, 32);
    for (int cycle = 0; cycle < 200; ++cycle)
        for (int place = 0; place < 32; ++place) finder.push(place, 100.0 + (place < 3 ? 5.0 : 0.0), true, kNoneCut);
    EXPECT_EQ(finder.answer(), Finder::Answer::undecided);
}

TEST(PhaseFinder, NoiseIsNotDecided) {
    // The stated chance is below 1e-4; over 2000 engines without any half order none may be decided.
    Config config;
    config.engine = engine({1}).engine;
    std::uint64_t state = 1;
    int decided = 0;
    for (int run = 0; run < 2000; run += test::kStride) {
        Finder finder;
        finder.configure(config, 30);
        for (int cycle = 0; cycle < 100; ++cycle)
            for (int place = 0; place < 30; ++place) {
                state = state * 6364136223846793005ULL + 1442695040888963407ULL;
                finder.push(place, 100.0 + static_cast<double>(state >> 33U) * 1.0e-9, true, kNoneCut);
            }
        decided += finder.answer() != Finder::Answer::undecided ? 1 : 0;
    }
    EXPECT_EQ(decided, 0);
}

TEST(PhaseFinder, BrokenCyclesCountForNothing) {
    Config config;
    config.engine = engine({1}).engine;
    Finder finder;
    finder.configure(config, 30);
    for (int cycle = 0; cycle < 50; ++cycle)
        for (int place = 0; place < 30; ++place) finder.push(place, 100.0 + place, place != 17, kNoneCut);
    EXPECT_EQ(finder.cycles(), 0.0);
    for (int cycle = 0; cycle < 50; ++cycle)
        for (int place = 0; place < 30; ++place) finder.push(place, kUnknown, true, kNoneCut);
    EXPECT_EQ(finder.cycles(), 0.0);
    for (int cycle = 0; cycle < 50; ++cycle)
        for (int place = 0; place < 30; ++place) finder.push(place, 100.0 + (place % 7), true, place > 10 ? 1U : 0U);
    EXPECT_EQ(finder.cycles(), 0.0) << "cut in part";
    for (int cycle = 0; cycle < 50; ++cycle)
        for (int place = 0; place < 30; ++place) finder.push(place, place == 3 ? 500.0 : 10.0, true, kNoneCut);
    EXPECT_EQ(finder.cycles(), 0.0) << "a crank that stands most of the time";
}

/// Pushes a recording's bins `shift` revolutions off.
struct Replay {
    Config config{};
    std::vector<double> energy{};  ///< whole cycles from place 0
    int bins = 0;

    explicit Replay(const Scenario& scenario) {
        const read::Recording recording = simulate::simulate(scenario);
        config = recording.config;
        with_bins(recording, config, [&](const Bin<double>& bin, int place, int count) {
            bins = count;
            if (!energy.empty() || place == 0) energy.push_back(bin.energy);
        });
    }

    void push(Finder& finder, int cycles, int shift, bool connected) const {
        for (int i = 0; i < cycles * bins; ++i)
            finder.push((i + shift * bins / 2) % bins, energy[static_cast<std::size_t>(i)], connected || i > 0,
                        kNoneCut);
    }
};

TEST(PhaseFinder, ALossForgetsWhatWasTold) {
    // After a loss the count of revolutions begins anew, from either half: what was learned before says nothing about it.
    const Replay replay(engine({1, 3, 2}));
    Finder finder;
    finder.configure(replay.config, replay.bins);
    replay.push(finder, 20, 0, true);
    ASSERT_EQ(finder.answer(), Finder::Answer::right);
    replay.push(finder, 1, 1, false);
    EXPECT_EQ(finder.answer(), Finder::Answer::undecided);
    replay.push(finder, 20, 1, true);
    EXPECT_EQ(finder.answer(), Finder::Answer::flipped);
}

TEST(PhaseFinder, FollowingTurnsWhatWasLearned) {
    const Replay replay(engine({1, 3, 2}));
    Finder finder;
    finder.configure(replay.config, replay.bins);
    replay.push(finder, 20, 1, true);
    ASSERT_EQ(finder.answer(), Finder::Answer::flipped);
    const double odds = finder.log_odds();
    finder.follow();
    EXPECT_DOUBLE_EQ(finder.log_odds(), -odds);
    EXPECT_GT(finder.cycles(), 10.0);
    replay.push(finder, 20, 0, true);
    EXPECT_EQ(finder.answer(), Finder::Answer::right) << "more evidence of the same";
    // Told once, it goes on listening, more seldom.
    for (int times = 0; times < 20; ++times) replay.push(finder, 20, 1, true);
    EXPECT_EQ(finder.answer(), Finder::Answer::flipped) << "a lasting contradiction is heard";
}

TEST(PhaseFinder, StaysSmall) {
    EXPECT_LE(sizeof(Finder), 2048U);
    EXPECT_TRUE(std::is_trivially_copyable_v<Finder>);
}

TEST(PhaseFinder, PartnersOfSymmetricEngines) {
    EngineConfig six;
    six.cylinders = 6;
    six.firing_order = {1, 5, 3, 6, 2, 4};
    make_even_firing(six);
    EXPECT_TRUE(symmetric_under_360(six));
    EXPECT_EQ(six.firing_order[static_cast<std::size_t>(partner_under_360(six, 0))], 6);
    EXPECT_EQ(six.firing_order[static_cast<std::size_t>(partner_under_360(six, 1))], 2);
    EngineConfig three;
    three.cylinders = 3;
    make_even_firing(three);
    EXPECT_FALSE(symmetric_under_360(three));
    EXPECT_EQ(partner_under_360(three, 0), -1);
    EXPECT_EQ(mistakable_for(three, 0), -1);
    EXPECT_EQ(mistakable_for(six, 1), partner_under_360(six, 1));
    EngineConfig uneven = engine({1, 6, 5, 4, 3, 2}, {0.0, 132.0, 240.0, 372.0, 480.0, 612.0}).engine;
    EXPECT_EQ(mistakable_for(uneven, 0), 3) << "fires 12 degrees later in the other revolution";
    EXPECT_EQ(partner_under_360(uneven, 0), -1);
    six.strokes = 2;
    EXPECT_FALSE(symmetric_under_360(six));
    EXPECT_EQ(mistakable_for(six, 0), -1);
}

}  // namespace
}  // namespace kurbel
