// The methods that stand beside the detector in the table, and what is made of its probabilities.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <vector>

#include "ablation.hpp"
#include "baselines.hpp"
#include "changes.hpp"
#include "coverage.hpp"
#include "observer.hpp"
#include "picture.hpp"
#include "recordings.hpp"
#include "table.hpp"

namespace {

using namespace kurbel_detection;

/// A clean five-cylinder engine that loses 5 % of its firings: what any of the methods should see.
struct Clean : ::testing::Test {
    static void SetUpTestSuite() {
        Cell cell;
        cell.name = "clean";
        cell.file = "cells/layout-inline5.toml";
        cell.own_length = true;
        cell.changes = {held(1800.0, 1800.0, 0.6), random_misfires(0.05), [](Scenario& s, Draw&) {
                            s.seconds = 20.0;
                            s.wheel_error = {};
                        }};
        const Scenario scenario = draw_scenario(cell, KURBEL_DATASETS, {}, 3, 0);
        recording = new Recording(record(cell, scenario).recording);
        judged = new Judged(judge(scenario, *recording, {}));
        bins = new Bins(bins_of(*recording));
    }
    static void TearDownTestSuite() {
        delete recording;
        delete judged;
        delete bins;
    }

    /// Fewest misses of the best reading at 0.2 % false alarms: a firing between two misfires looks like one to the simpler methods.
    static kurbel::Share best(const Readings& readings) {
        kurbel::Share least{INT64_MAX, 0};
        for (const Scores& scores : readings) {
            Pool pool;
            pool.add(scores, judged->firings);
            const kurbel::Share missed = best_missed(pool, 0.002);
            if (missed.count < least.count) least = missed;
        }
        return least;
    }

    static inline Recording* recording = nullptr;
    static inline Judged* judged = nullptr;
    static inline Bins* bins = nullptr;
};

TEST_F(Clean, EachMethodSeesPlainMisfires) {
    const auto misfires = std::count_if(judged->firings.begin(), judged->firings.end(),
                                        [](const Firing& firing) { return firing.kind == Truth::misfire; });
    ASSERT_GE(misfires, 40);
    const kurbel::Share differences = best(cycle_difference(*bins, judged->firings));
    const kurbel::Share phasors = best(order_phasor(*bins, judged->firings));
    const kurbel::Share observed = best({observe(*bins, judged->firings, Level::absolute)});
    for (const kurbel::Share& share : {differences, phasors, observed, best(classic(*recording))})
        EXPECT_GE(share.of, misfires - 5);
    // A misfire after one of the same cylinder does not differ from it, and both cycles scatter.
    EXPECT_LE(differences.rate(), 0.3);
    EXPECT_LE(phasors.rate(), 0.1);
    EXPECT_EQ(observed.count, 0);
}

// The bin that begins at a firing's TDC does so within a tooth's period of it, and the energy is that of the speed.
TEST_F(Clean, BinsBeginAtTheFirings) {
    std::size_t found = 0;
    for (std::size_t i = 0; i < judged->firings.size(); ++i) {
        if (bins->first_of[i] < 0) continue;
        ++found;
        const auto& bin = bins->bins[static_cast<std::size_t>(bins->first_of[i])];
        const double begin_s = static_cast<double>(bin.begin_tick) / recording->config.timer.hz;
        EXPECT_NEAR(begin_s, judged->firings[i].truth.time_s, 0.3 / 180.0 / 6.0);
        EXPECT_NEAR(std::sqrt(2.0 * bin.energy) * 30.0 / 3.14159265, 1800.0, 250.0);
    }
    EXPECT_GE(found, judged->firings.size() - 10);
    // A window that reaches beyond the recording is not whole.
    EXPECT_FALSE(bins->whole(judged->firings.size() - 1, 0, 10000));
}

// A firing counts where its probability puts it, as lost where it was; the mean must lie within the exact interval.
TEST(Reliability, CountsByProbability) {
    std::vector<Firing> firings(1000);
    for (std::size_t i = 0; i < firings.size(); ++i) {
        Firing& firing = firings[i];
        firing.has_event = true;
        firing.event.verdict = kurbel::Verdict::fired;
        firing.event.probability = i % 2 == 0 ? 0.25 : 0.75;
        firing.truth.cylinder = 1;
        firing.truth.work_j = 100.0;
        // A quarter of the first kind is lost, and a quarter of the second too, where three quarters were told.
        firing.kind = i % 8 < 2 ? Truth::misfire : Truth::healthy;
    }
    firings[2].event.verdict = kurbel::Verdict::unjudged;
    firings[4].kind = Truth::weak;
    Reliability reliability;
    reliability.add(firings);
    EXPECT_EQ(reliability.firings(), 999);
    const auto& bins = reliability.bins();
    const auto at = [&](double p) {
        for (std::size_t b = 0; b < bins.size(); ++b)
            if (p >= kReliabilityBounds[b] && p < kReliabilityBounds[b + 1]) return bins[b];
        return bins.back();
    };
    EXPECT_EQ(at(0.25).lost.of, 499);
    EXPECT_EQ(at(0.25).lost.count, 126);
    EXPECT_TRUE(at(0.25).holds());
    EXPECT_EQ(at(0.75).lost.count, 125);
    EXPECT_FALSE(at(0.75).holds());
    Reliability twice = reliability;
    twice.add(reliability);
    EXPECT_EQ(twice.firings(), 1998);
    EXPECT_NE(reliability_csv(reliability).find("0.25"), std::string::npos);
    EXPECT_NE(reliability_picture(reliability, "a < b").find("a &lt; b"), std::string::npos);
}

// A step of the pedal leaves as much difference between firings as a partial burn does, and is none.
TEST(Firings, TakesNoneForWeakBecauseThePedalMoved) {
    std::vector<Firing> firings(40);
    for (std::size_t i = 0; i < firings.size(); ++i) {
        firings[i].truth.cylinder = 1 + static_cast<int>(i % 2);
        firings[i].truth.work_j = i < 20 ? 300.0 : 60.0;
    }
    firings[9].truth.work_j = 140.0;
    firings[30].truth.work_j = 29.0;
    firings[12].kind = Truth::misfire;
    firings[12].truth.work_j = 0.0;
    std::vector<Firing> alone = {firings[0]};
    set_weak_apart(firings);
    for (std::size_t i = 0; i < firings.size(); ++i) EXPECT_EQ(firings[i].kind == Truth::weak, i == 9 || i == 30) << i;
    EXPECT_EQ(firings[12].kind, Truth::misfire);
    // A single firing has no others to be measured by.
    set_weak_apart(alone);
    EXPECT_EQ(alone[0].kind, Truth::healthy);
}

// The first way is the table's own, and the others judge the same firings.
TEST(Ablation, JudgesTheSameRecordingsInEachWay) {
    RunOptions options;
    options.datasets = KURBEL_DATASETS;
    options.amount = {30, 600, 1, 60.0};
    options.rivals = false;
    const Cell* cell = nullptr;
    for (const Cell& candidate : all_cells())
        if (candidate.name == "pattern-random-10") cell = &candidate;
    ASSERT_NE(cell, nullptr);
    const std::vector<Variant> list = variants(options.settings);
    const std::vector<Outcome> outcomes = ablate(*cell, options, list);
    ASSERT_EQ(outcomes.size(), list.size());
    const Outcome plain = run(*cell, options);
    EXPECT_EQ(outcomes[0].missed.count, plain.missed.count);
    EXPECT_EQ(outcomes[0].false_alarms.of, plain.false_alarms.of);
    // The classic is another method: its evidence differs, and so does where its events come out.
    EXPECT_NE(outcomes.back().auc, outcomes[0].auc);
    for (const Outcome& outcome : outcomes) {
        EXPECT_EQ(outcome.error, "");
        EXPECT_EQ(outcome.missed.of, plain.missed.of);
    }
    EXPECT_NE(ablation_markdown(list, {outcomes}).find("| no load channel |"), std::string::npos);
    EXPECT_NE(ablation_csv(list, {outcomes}).find("pattern-random-10,steady,\"single precision\""), std::string::npos);
}

TEST(Coverage, CountsIntervalsThatHoldTheRate) {
    RunOptions options;
    options.datasets = KURBEL_DATASETS;
    const std::vector<Coverage> rows = cover(1, options, 1);
    ASSERT_EQ(rows.size(), 6U);
    for (const Coverage& row : rows) {
        EXPECT_EQ(row.covered.of, 1);
        EXPECT_EQ(row.others.of, 3);
        EXPECT_LE(row.low_mean, row.high_mean);
    }
    EXPECT_EQ(rows.front().low_mean, 0.0);
    EXPECT_EQ(rows.back().drawn_covered.count, 1);
    EXPECT_GT(rows.back().low_mean, 0.5);
}

}  // namespace
