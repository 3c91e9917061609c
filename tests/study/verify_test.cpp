#include "kurbel/study/verify.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <cstring>
#include <nlohmann/json.hpp>

#include "../../bench/studies/draw.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/study/sequential_exact.hpp"
#include "kurbel/study/verify_recording.hpp"

namespace kurbel {
namespace {

using kurbel_studies::Engine;
using kurbel_studies::Fault;
using kurbel_studies::Random;

Event firing(double time_s, bool misfire, int cylinder = 4) {
    Event event;
    event.time_s = time_s;
    event.cylinder = cylinder;
    event.verdict = misfire ? Verdict::misfire : Verdict::fired;
    return event;
}

/// Ends of `runs` tests at one rate, and their mean length.
SequentialCourse measure(const RepairQuestion& question, double rate, int runs, std::uint64_t seed) {
    Random random(seed);
    SequentialCourse course;
    for (int i = 0; i < runs; ++i) {
        RepairTest test(question);
        for (double time = 0.0; test.state() == RepairState::running; time += 0.15)
            test.push(firing(time, random.chance(rate)));
        course.gone += test.state() == RepairState::gone ? 1.0 / runs : 0.0;
        course.remains += test.state() == RepairState::remains ? 1.0 / runs : 0.0;
        course.undecided += test.state() == RepairState::undecided ? 1.0 / runs : 0.0;
        course.mean_firings += static_cast<double>(test.firings()) / runs;
    }
    return course;
}

TEST(SequentialPlan, ErrorLimitsHoldExactly) {
    for (const double limit : {0.002, 0.01, 0.05, 0.2})
        for (const double error : {0.01, 0.05, 0.1}) {
            const SequentialPlan plan = sequential_plan(limit / 20.0, limit, error);
            ASSERT_GT(plan.most, 0);
            EXPECT_LE(exact_course(plan, plan.bad).gone, error) << limit << " " << error;
            EXPECT_LE(exact_course(plan, plan.good).remains, 0.5 * error) << limit << " " << error;
            EXPECT_LE(exact_course(plan, plan.good).undecided, error) << limit << " " << error;
        }
}

TEST(SequentialPlan, WhatCannotBeGivesNoPlan) {
    EXPECT_EQ(sequential_plan(0.01, 0.01, 0.05).most, 0);
    EXPECT_EQ(sequential_plan(0.0, 0.01, 0.05).most, 0);
    EXPECT_EQ(sequential_plan(0.001, 0.01, 0.5).most, 0);
    EXPECT_EQ(sequential_plan(0.001, 0.01, 0.05, 0.9).most, 0);
}

// Limits and mean length as measured against the recursion. 4000 runs: the share's 99.9 % interval is about +-1.1 points at 5 %.
TEST(RepairTest, MeasuredEndsAndLengthAgreeWithTheRecursion) {
    const RepairQuestion question{.cylinder = 4};
    const SequentialPlan plan = RepairTest(question).plan();
    constexpr int kRuns = 4000;
    for (const double rate : {plan.good, plan.bad, 2.0 * plan.bad}) {
        const SequentialCourse exact = exact_course(plan, rate);
        const SequentialCourse measured = measure(question, rate, kRuns, 11);
        EXPECT_NEAR(measured.mean_firings, exact.mean_firings, 0.05 * exact.mean_firings) << rate;
        EXPECT_NEAR(measured.gone, exact.gone, 3.3 * std::sqrt(exact.gone * (1.0 - exact.gone) / kRuns) + 1e-3) << rate;
        std::printf("rate %.4f: mean length measured %.1f, exact %.1f, Wald's approximation %.1f firings\n", rate,
                    measured.mean_firings, exact.mean_firings, wald_mean_firings(plan, rate, exact.gone));
        RecordProperty("exact_mean", std::to_string(exact.mean_firings));
    }
}

TEST(RepairTest, CountsDownAndStops) {
    RepairTest test({.cylinder = 4});
    EXPECT_EQ(test.clean_needed(), 314);  // ln 20 / ln(0.9995 / 0.99)
    EXPECT_TRUE(std::isnan(test.seconds_needed()));
    for (int i = 0; i < 100; ++i) test.push(firing(0.15 * i, false));
    EXPECT_EQ(test.clean_needed(), 214);
    EXPECT_NEAR(test.seconds_needed(), 214 * 0.15, 0.5);
    for (int i = 100; i < 314; ++i) test.push(firing(0.15 * i, false));
    EXPECT_EQ(test.state(), RepairState::gone);
    EXPECT_NEAR(test.decided_s(), 0.15 * 313, 1e-9);
    EXPECT_EQ(test.clean_needed(), 0);
    EXPECT_NEAR(test.rate_upper(), 0.01, 3e-4);
    for (int i = 314; i < 1000; ++i) test.push(firing(0.15 * i, false));
    EXPECT_EQ(test.decided_firings(), 314);
    EXPECT_LT(test.rate_upper(), 0.004);
}

// Of 2000 runs, each looked at after every firing, the limit may fall below the true rate in 5 % at most: 121 have a chance of 1e-2.
TEST(RepairTest, UpperLimitHoldsWheneverOneStops) {
    Random random(3);
    for (const double rate : {0.003, 0.1}) {
        int broken = 0;
        for (int run = 0; run < 2000; ++run) {
            RepairTest test({.cylinder = 4});
            bool below = false;
            for (int i = 0; i < 400 && !below; ++i) {
                test.push(firing(0.15 * i, random.chance(rate)));
                if (i % 8 == 0) below = test.rate_upper() < rate;
            }
            broken += below ? 1 : 0;
        }
        EXPECT_LE(broken, 121) << rate;
    }
    RepairTest test({.cylinder = 4});
    for (int i = 0; i < 368; ++i) test.push(firing(0.15 * i, i % 8 == 0));
    EXPECT_GT(test.rate_upper(), 0.125);
    EXPECT_LT(test.rate_upper(), 0.22);
}

TEST(RepairTest, AMisfireThatComesBackTurnsItOver) {
    RepairTest test({.cylinder = 4});
    int i = 0;
    for (; i < 400; ++i) test.push(firing(0.15 * i, false));
    ASSERT_EQ(test.state(), RepairState::gone);
    for (; test.state() == RepairState::gone && i < 600; ++i) test.push(firing(0.15 * i, i % 10 == 0));
    EXPECT_EQ(test.state(), RepairState::remains);
    EXPECT_NEAR(test.was_gone_s(), 0.15 * 313, 1e-9);
}

TEST(RepairTest, OthersAndUnjudgedPassBy) {
    RepairTest test({.cylinder = 4});
    test.push(firing(0.0, true, 3));
    Event unjudged = firing(0.1, true);
    unjudged.verdict = Verdict::unjudged;
    test.push(unjudged);
    EXPECT_EQ(test.firings(), 0);
    Event pair = firing(0.2, false, 0);
    pair.candidates = {1, 4};
    test.push(pair);
    EXPECT_EQ(test.firings(), 1);
    EXPECT_TRUE(test.pair());
    EXPECT_GT(test.clean_needed(), 600);  // half the rate on twice the firings
    test.push(firing(0.3, false));        // now the phase is known: the question is another
    EXPECT_EQ(test.firings(), 1);
    EXPECT_FALSE(test.pair());
}

TEST(RepairTest, ACopyIsASnapshot) {
    RepairTest test({.cylinder = 4});
    for (int i = 0; i < 50; ++i) test.push(firing(0.15 * i, i == 20));
    RepairTest other;
    std::memcpy(static_cast<void*>(&other), &test, sizeof test);
    for (int i = 50; i < 900; ++i) {
        test.push(firing(0.15 * i, false));
        other.push(firing(0.15 * i, false));
    }
    EXPECT_EQ(test.state(), other.state());
    EXPECT_EQ(test.decided_firings(), other.decided_firings());
}

// Clusters of five on average, a rate at the limit: independent losses' limits would be overstepped, the dispersion's hold.
TEST(RepairTest, ClustersNeedTheDispersion) {
    const auto gone_share = [](double dispersion) {
        Random random(5);
        const Fault fault{.kind = Fault::Kind::clusters, .rate = 0.01, .length = 5.0, .duty = 1.0};
        constexpr int kRuns = 600;
        int gone = 0;
        for (int i = 0; i < kRuns; ++i) {
            kurbel_studies::Losing losing(fault, random);
            RepairTest test({.cylinder = 4, .dispersion = dispersion});
            for (double time = 0.0; test.state() == RepairState::running; time += 0.15)
                test.push(firing(time, losing.lost(random)));
            gone += test.state() == RepairState::gone ? 1 : 0;
        }
        return static_cast<double>(gone) / kRuns;
    };
    EXPECT_GT(gone_share(1.0), 0.2);
    EXPECT_LT(gone_share(9.0), 0.05);
}

JudgedRecording idle(double rate, const char* name, double seconds = 90.0, const Engine& engine = {}) {
    std::vector<Fault> faults(static_cast<std::size_t>(engine.cylinders));
    faults.back().rate = rate;
    return kurbel_studies::record(engine, faults, seconds, name, 3);
}

TEST(VerifyStudy, EachVerdictHasItsSentence) {
    const Answer gone = study_verify(idle(0.0, "AFTER"), 4);
    EXPECT_EQ(gone.verdict, "gone");
    EXPECT_NE(gone.sentence.find("sequential test"), std::string::npos);
    EXPECT_NE(gone.sentence.find("if they came in bursts"), std::string::npos) << gone.sentence;
    const auto evidence = nlohmann::json::parse(gone.evidence);
    EXPECT_GT(evidence["stopped_s"].get<double>(), 40.0);
    EXPECT_LE(evidence["errors"]["gone_at_limit"].get<double>(), 0.05);
    EXPECT_LT(evidence["rate_upper"].get<double>(), 0.01);
    EXPECT_EQ(study_verify(idle(0.2, "AFTER"), 4).verdict, "remains");
    const Answer early = study_verify(idle(0.0, "AFTER", 20.0), 4);
    EXPECT_EQ(early.verdict, "undecided");
    EXPECT_GT(nlohmann::json::parse(early.evidence)["more_seconds"].get<double>(), 10.0);
}

TEST(VerifyStudy, BeforeTellsClustersAndWhatWasNotCovered) {
    Engine road;
    road.speed_rpm = 2300.0;
    road.load = 0.6;
    const JudgedRecording on_the_road = idle(0.1, "BEFORE", 60.0, road);
    const Answer answer = study_verify(idle(0.0, "AFTER"), 4, {}, &on_the_road);
    const auto evidence = nlohmann::json::parse(answer.evidence);
    EXPECT_EQ(evidence["before_misfires"], evidence["before_misfires_not_covered"]);
    ASSERT_FALSE(evidence["not_covered"].empty());
    EXPECT_NE(answer.sentence.find("did not meet"), std::string::npos) << answer.sentence;
    EXPECT_EQ(answer.sentence.find("bursts"), std::string::npos) << answer.sentence;
    JudgedRecording bursts = on_the_road;
    for (std::size_t i = 0; i < bursts.events.size(); ++i)
        if (bursts.events[i].cylinder == 4)
            bursts.events[i].verdict = i / 400 % 5 == 0 ? Verdict::misfire : Verdict::fired;
    EXPECT_GT(nlohmann::json::parse(study_verify(idle(0.0, "AFTER"), 4, {}, &bursts).evidence)["plan"]["dispersion"]
                  .get<double>(),
              3.0);
}

TEST(VerifyStudy, NonsenseIsRefused) {
    const JudgedRecording recording = idle(0.0, "AFTER");
    EXPECT_THROW(static_cast<void>(study_verify(recording, 5)), WrongQuestion);
    EXPECT_THROW(static_cast<void>(study_verify(recording, 0)), WrongQuestion);
    EXPECT_THROW(static_cast<void>(study_verify(recording, 4, {.limit_percent = 0.0})), WrongQuestion);
    EXPECT_THROW(static_cast<void>(study_verify(recording, 4, {.confidence_percent = 100.0})), WrongQuestion);
    JudgedRecording silent = recording;
    for (Event& event : silent.events) event.verdict = Verdict::unjudged;
    EXPECT_THROW(static_cast<void>(study_verify(silent, 4)), read::InputError);
    EXPECT_THROW(static_cast<void>(study_verify(recording, 4, {}, &silent)), read::InputError);
}

}  // namespace
}  // namespace kurbel
