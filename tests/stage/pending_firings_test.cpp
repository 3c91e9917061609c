// Firings that wait: their order, and how overlapping responses are told apart.
#include "kurbel/stage/pending_firings.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "stage/rigid_crank.hpp"
#include "support/even_engine.hpp"

namespace kurbel::test {
namespace {

using Pending = PendingFirings<double>;

/// An even engine of eight, whose responses overlap, and a stretch of bins on which misfires are laid; the firing at place 0 of bin 100 is the oldest.
struct Queue : MatchedCrank {
    Queue() : MatchedCrank(even_engine(8)) {
        interval = grid.bins / 8;
        limits.fill(0.4);
    }

    /// A firing `n` intervals after the oldest lost `share` of `work`, an expected firing being 1.
    void lay(int n, double share, double work = 1.0) {
        for (int j = 0; j < bank.length(); ++j) {
            const int bin = n * interval + j + kBefore;
            if (bin >= 0 && bin < static_cast<int>(difference.size()))
                difference[static_cast<std::size_t>(bin)] +=
                    share * work * static_cast<double>(bank.response(place_of(n))[static_cast<std::size_t>(j)]);
        }
    }

    /// Opens the windows of `count` firings from the oldest on; `work` is what is expected of the firing at 1, else 1.
    void open(int count, double work_of_second = 1.0) {
        for (int n = 0; n < count; ++n) {
            PendingFiring<double>& entry = pending.append();
            entry.bin = 100 + n * interval;
            entry.place = static_cast<std::int8_t>(place_of(n));
            entry.length = static_cast<std::int8_t>(size);
            entry.expected = n == 1 ? work_of_second : 1.0;
            Window x{};
            for (int j = 0; j < size; ++j)
                x[static_cast<std::size_t>(j)] = static_cast<float>(
                    difference[static_cast<std::size_t>(n * interval + j + kBefore)] / entry.expected);
            const ResponseBank::Match match = bank.match_whole(entry.place, x);
            entry.amplitude = static_cast<double>(match.amplitude);
            entry.gain = match.amplitude * match.amplitude * match.precision;
        }
    }

    double oldest() { return pending.oldest_amplitude(bank, limits, dead, expected, neighbours); }

    /// Amplitudes of the firings one after the other, as the estimator takes them.
    std::vector<double> take_all() {
        std::vector<double> amplitudes;
        while (pending.count() > 0) {
            pending[0].amplitude = oldest();
            amplitudes.push_back(pending[0].amplitude);
            const bool misfire = amplitudes.back() > 0.4;
            if (misfire) pending.take_out_oldest(bank, amplitudes.back());
            pending.drop_oldest();
        }
        return amplitudes;
    }

    static int place_of(int n) { return n % 8; }

    static constexpr int kBefore = 100;  // bins on the stretch before the oldest's window
    int interval = 0;
    Pending pending{};
    Pending::Limits limits{};
    Pending::Dead dead{};
    Pending::Expectation expected{};
    Pending::Amplitudes neighbours{};
    std::array<double, 600> difference{};
};

TEST(PendingFirings, GivesOutTheOldestFirst) {
    Pending pending;
    EXPECT_EQ(pending.count(), 0);
    std::int64_t next_in = 0;
    std::int64_t next_out = 0;
    // Many times around the ring, at changing lengths.
    for (int turn = 0; turn < 50; ++turn) {
        while (pending.count() < 3 + turn % (Pending::kCapacity - 3)) pending.append().bin = next_in++;
        for (int i = 0; i < pending.count(); ++i) EXPECT_EQ(pending[i].bin, next_out + i);
        for (int n = 0; n < 2; ++n, ++next_out) pending.drop_oldest();
    }
    while (!pending.full()) pending.append().bin = next_in++;
    EXPECT_EQ(pending.count(), Pending::kCapacity);
    EXPECT_EQ(pending[0].bin, next_out);
    pending.clear();
    EXPECT_EQ(pending.count(), 0);
    // A new entry knows nothing of the one that was there before.
    const PendingFiring<double>& entry = pending.append();
    EXPECT_EQ(entry.bin, 0);
    EXPECT_FALSE(entry.usable());
}

TEST(PendingFirings, OneMisfireLeavesItsNeighboursHealthy) {
    for (int misfire = 0; misfire < 4; ++misfire) {
        Queue queue;
        queue.lay(misfire, 1.0);
        queue.open(5);
        // What each window reads before anything is explained is not the truth.
        double largest_error = 0.0;
        for (int n = 0; n < 5; ++n)
            largest_error = std::max(largest_error, std::fabs(queue.pending[n].amplitude - (n == misfire ? 1.0 : 0.0)));
        EXPECT_GT(largest_error, 0.1);
        const std::vector<double> amplitudes = queue.take_all();
        for (int n = 0; n < 5; ++n)
            EXPECT_NEAR(amplitudes[static_cast<std::size_t>(n)], n == misfire ? 1.0 : 0.0, 1e-3)
                << misfire << ", " << n;
    }
}

TEST(PendingFirings, WhatIsKnownToBeLostNeedNotBeFound) {
    // No loss is large enough to be found; the oldest reads what the two after it leak into it, but for what is known of them.
    const auto reading = [](bool known) {
        Queue queue;
        queue.limits.fill(10.0);
        queue.lay(1, 1.0);
        queue.lay(2, 1.0);
        queue.open(5);
        for (const int n : {1, 2}) queue.pending[n].known = known;
        const double oldest = queue.oldest();
        EXPECT_EQ(queue.neighbours[1], known ? 1.0 : 0.0);
        return oldest;
    };
    EXPECT_GT(std::fabs(reading(false)), 0.1);
    EXPECT_NEAR(reading(true), 0.0, 1e-3);
}

TEST(PendingFirings, TwoMisfiresAreBothFound) {
    for (int first = 0; first < 3; ++first)
        for (int second = first + 1; second < 4; ++second) {
            Queue queue;
            queue.lay(first, 1.0);
            queue.lay(second, 1.0);
            queue.open(5);
            const std::vector<double> amplitudes = queue.take_all();
            for (int n = 0; n < 5; ++n) {
                const bool lost = n == first || n == second;
                EXPECT_NEAR(amplitudes[static_cast<std::size_t>(n)], lost ? 1.0 : 0.0, 0.05)
                    << first << ", " << second << ": " << n;
            }
        }
}

TEST(PendingFirings, ExpectedWorksAreWeighed) {
    // The second firing does half of the work; all of it lost reads 1 to itself and leaks half as much into the oldest.
    Queue queue;
    queue.lay(1, 1.0, 0.5);
    queue.open(3, 0.5);
    const double leak = static_cast<double>(queue.bank.leak(0, 1, queue.interval));
    EXPECT_NEAR(queue.pending[0].amplitude, 0.5 * leak, 1e-4);
    const std::vector<double> amplitudes = queue.take_all();
    EXPECT_NEAR(amplitudes[0], 0.0, 1e-3);
    EXPECT_NEAR(amplitudes[1], 1.0, 1e-3);
    EXPECT_NEAR(amplitudes[2], 0.0, 1e-3);
}

TEST(PendingFirings, WhatLiesBelowTheLimitIsNotExplainedAway) {
    Queue queue;
    queue.lay(1, 0.3);
    queue.open(2);
    const double read = queue.pending[0].amplitude;
    EXPECT_EQ(queue.oldest(), read);
    // On an engine whose losses read as little, it is one.
    queue.limits.fill(0.2);
    queue.expected.whole = 0.3;
    EXPECT_NEAR(queue.oldest(), 0.0, 1e-3);
}

TEST(PendingFirings, WhatNeighboursAddedIsTakenOutOfTheWindow) {
    Queue queue;
    queue.lay(1, 1.0);
    queue.open(3);
    const double read = queue.oldest();
    EXPECT_NEAR(read, 0.0, 1e-3);
    Window x{};
    double before = 0.0;
    for (int j = 0; j < queue.size; ++j) {
        x[static_cast<std::size_t>(j)] =
            static_cast<float>(queue.difference[static_cast<std::size_t>(j + Queue::kBefore)]);
        before += std::fabs(static_cast<double>(x[static_cast<std::size_t>(j)]));
    }
    ASSERT_GT(before, 0.5);
    queue.pending.take_out_neighbours(queue.bank, queue.neighbours, x);
    for (int j = 0; j < queue.size; ++j) EXPECT_NEAR(x[static_cast<std::size_t>(j)], 0.0F, 1e-3F) << j;
}

TEST(PendingFirings, ADeadCylinderThatFiresIsTheDeviation) {
    // The pattern holds place 1 as dead; once it fires, it stands out with amplitude -1 and is explained before the oldest.
    Queue queue;
    queue.dead[1] = true;
    queue.lay(1, -1.0);
    queue.open(2);
    EXPECT_NEAR(queue.oldest(), 0.0, 1e-3);
    // Dead as ever, it is no deviation, and what little it reads stays where it is.
    Queue still;
    still.dead[1] = true;
    still.lay(1, -0.2);
    still.open(2);
    EXPECT_EQ(still.oldest(), still.pending[0].amplitude);
}

TEST(PendingFirings, FiringsWithoutAWindowAreLeftAlone) {
    Queue queue;
    queue.lay(1, 1.0);
    queue.open(3);
    queue.pending[1].length = 0;
    queue.pending[2].amplitude = 0.0;
    EXPECT_EQ(queue.oldest(), queue.pending[0].amplitude);
    const double before = queue.pending[1].amplitude;
    queue.pending.take_out_oldest(queue.bank, 1.0);
    EXPECT_EQ(queue.pending[1].amplitude, before);
}

TEST(PendingFirings, TheOldestLeadsWhereNobodyExplainsMore) {
    Queue queue;
    queue.lay(0, 1.0);
    queue.open(4);
    EXPECT_TRUE(queue.pending.oldest_leads());
    queue.pending[2].gain = 2.0F * queue.pending[0].gain;
    EXPECT_FALSE(queue.pending.oldest_leads());
    queue.pending[2].length = 0;
    EXPECT_TRUE(queue.pending.oldest_leads());
}

}  // namespace
}  // namespace kurbel::test
