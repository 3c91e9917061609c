#include "kurbel/study/misfire_process.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace kurbel {
namespace {

struct Firing {
    std::int64_t cycle;
    bool misfire;
};

/// The same likelihood firing by firing, written straight from the definition of a hidden Markov chain.
double plain_log_likelihood(const MisfireProcess::Way& way, const std::vector<Firing>& firings) {
    double bad = way.bad;
    double log = 0.0;
    std::int64_t last = -1;
    for (const Firing& firing : firings) {
        for (std::int64_t cycle = last; last >= 0 && cycle < firing.cycle; ++cycle)
            bad = bad * (way.bad + way.persistence * (1.0 - way.bad)) + (1.0 - bad) * way.bad * (1.0 - way.persistence);
        last = firing.cycle;
        const double from_bad = bad * (firing.misfire ? way.lost_bad : 1.0 - way.lost_bad);
        const double from_good = (1.0 - bad) * (firing.misfire ? way.lost_good : 1.0 - way.lost_good);
        log += std::log(from_bad + from_good);
        bad = from_bad / (from_bad + from_good);
    }
    return log;
}

TEST(MisfireProcess, FilterAgreesWithThePlainRecursionAcrossGaps) {
    std::mt19937 random(7);
    std::vector<Firing> firings;
    FiringRecord record;
    record.restart();
    std::int64_t cycle = 0;
    for (int i = 0; i < 300; ++i) {
        cycle += random() % 10 == 0 ? 1 + static_cast<int>(random() % 5) : 1;
        const bool misfire = random() % (i / 50 % 2 == 0 ? 20 : 2) == 0;
        firings.push_back({cycle, misfire});
        record.add(cycle, misfire);
    }
    ProcessFilter filter;
    filter.take(record);
    int compared = 0;
    for (int shape = 1; shape < MisfireProcess::kShapes; ++shape)
        for (int rate = 0; rate < MisfireProcess::kRates; ++rate) {
            const MisfireProcess::Way& way = MisfireProcess::shared().way(shape, rate);
            if (!way.possible) continue;
            ++compared;
            EXPECT_NEAR(filter.log_likelihood(shape, rate), plain_log_likelihood(way, firings), 1e-8)
                << shape << " " << rate;
        }
    EXPECT_GT(compared, 100);
}

TEST(MisfireProcess, ARecordInPiecesIsTheRecordWhole) {
    FiringRecord whole;
    FiringRecord first;
    FiringRecord second;
    for (int i = 0; i < 200; ++i) {
        const bool misfire = i % 7 == 0;
        whole.append(misfire);
        (i < 90 ? first : second).append(misfire);
    }
    ProcessFilter one;
    one.take(whole);
    ProcessFilter two;
    two.take(first);
    two.take(second);
    EXPECT_EQ(one.firings(), two.firings());
    for (int shape = 0; shape < MisfireProcess::kShapes; ++shape)
        for (int rate = 0; rate < MisfireProcess::kRates; ++rate)
            if (MisfireProcess::shared().way(shape, rate).possible) {
                EXPECT_NEAR(one.log_likelihood(shape, rate), two.log_likelihood(shape, rate), 1e-8);
            }
}

TEST(MisfireProcess, PriorsSumToOneAndRatesRise) {
    double rates = 0.0;
    double shapes = 0.0;
    for (int rate = 0; rate < MisfireProcess::kRates; ++rate) rates += MisfireProcess::shared().rate_prior(rate);
    for (int shape = 0; shape < MisfireProcess::kShapes; ++shape) shapes += MisfireProcess::shape_prior(shape);
    EXPECT_NEAR(rates, 1.0, 1e-12);
    EXPECT_NEAR(shapes, 1.0, 1e-12);
    EXPECT_NEAR(MisfireProcess::rate_of(0), 0.01, 1e-3);
    EXPECT_NEAR(MisfireProcess::rate_of(MisfireProcess::kRates - 1), 0.996, 1e-3);
}

TEST(FiringRecord, KeepsGapsAndRecordingsApart) {
    FiringRecord record;
    record.restart();
    record.add(10, false);
    record.add(11, false);
    record.add(12, true);
    record.add(16, false);
    record.restart();
    record.add(3, false);
    EXPECT_EQ(record.tokens(), (std::vector<std::int32_t>{0, 2, -1, -4, 1, 0, 1}));
    EXPECT_EQ(record.firings(), 5);
    EXPECT_EQ(record.misfires(), 1);
}

}  // namespace
}  // namespace kurbel
