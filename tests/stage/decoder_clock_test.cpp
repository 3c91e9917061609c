// Ticks: wrapping counters, time that stands still or runs backwards, and values at the end of int64.
#include <gtest/gtest.h>

#include <algorithm>
#include <limits>
#include <type_traits>

#include "stage/wheel_edges.hpp"
#include "support/slice.hpp"

namespace kurbel::test {
namespace {

static_assert(std::is_trivially_copyable_v<Decoder>, "a snapshot is a copy");

WheelRun run_of(double rpm, double revolutions) {
    WheelRun run;
    run.config = car(even_wheel(60, {58, 59}));
    run.config.timer.hz = 1.0e6;
    run.speed_deg_s = swinging(rpm, 0.1, 2.0);
    run.revolutions = revolutions;
    run.start_deg = 20.0;
    return run;
}

std::vector<Tooth> feed(const Config& config, const std::vector<WheelEdge>& edges, std::uint64_t mask,
                        std::int64_t first_tick, SyncState* sync = nullptr) {
    Decoder decoder;
    decoder.configure(config);
    std::vector<Tooth> teeth;
    std::array<Tooth, kMaxTeethPerPush> out;
    for (const WheelEdge& edge : edges) {
        const auto raw = static_cast<std::int64_t>(static_cast<std::uint64_t>(edge.tick + first_tick) & mask);
        const int count = decoder.push(raw, edge.signal, out.data());
        teeth.insert(teeth.end(), out.begin(), out.begin() + count);
    }
    const int count = decoder.finish(out.data());
    teeth.insert(teeth.end(), out.begin(), out.begin() + count);
    if (sync != nullptr) *sync = decoder.sync();
    return teeth;
}

TEST(DecoderClock, WrappedCountersGiveTheSameTeeth) {
    // A 16-bit microsecond counter wraps every 65.5 ms, at 300 rpm several times a revolution.
    for (const double rpm : {300.0, 3000.0})
        for (const int bits : {16, 24, 32, 48, 62}) {
            WheelRun run = run_of(rpm, 30.0);
            const std::vector<WheelEdge> edges = make_edges(run);
            const std::vector<Tooth> plain = feed(run.config, edges, ~std::uint64_t{0}, 0);
            const std::uint64_t mask = (std::uint64_t{1} << bits) - 1;
            // The first tick stands as it is: start just below the counter's end.
            const auto first = static_cast<std::int64_t>(mask - 5000);
            run.config.timer.bits = bits;
            SyncState sync;
            const std::vector<Tooth> wrapped = feed(run.config, edges, mask, first, &sync);
            EXPECT_EQ(sync.faults, 0);
            ASSERT_EQ(wrapped.size(), plain.size());
            for (std::size_t i = 0; i < plain.size(); ++i) {
                ASSERT_EQ(wrapped[i].tick - first, plain[i].tick) << bits << " bits, tooth " << i;
                ASSERT_EQ(wrapped[i].index, plain[i].index);
                ASSERT_EQ(wrapped[i].half, plain[i].half);
                ASSERT_EQ(wrapped[i].revolution, plain[i].revolution);
            }
        }
}

TEST(DecoderClock, CrankAndCamShareTheCounter) {
    // Between two crank edges more than half of a 16-bit counter's range may pass, cam edges in between.
    WheelRun run = run_of(120.0, 12.0);
    run.config.crank_wheel = even_wheel(12, {11});
    run.config.crank_wheel.tdc1_deg = 84.0;
    const std::vector<WheelEdge> edges = make_edges(run);
    run.config.timer.bits = 16;
    // 60 degrees at 120 rpm last 83 ms: too long for this counter, so the gap must turn faster.
    run.speed_deg_s = steady(300.0);
    const std::vector<WheelEdge> faster = make_edges(run);
    SyncState sync;
    const std::vector<Tooth> teeth = feed(run.config, faster, 0xFFFF, 0, &sync);
    EXPECT_EQ(sync.faults, 0);
    EXPECT_EQ(sync.phase, Phase::cam);
    ASSERT_FALSE(teeth.empty());
    EXPECT_EQ(teeth.back().tick, faster.back().signal == Signal::crank ? faster.back().tick : teeth.back().tick);
}

TEST(DecoderClock, EqualTimesAndBackwardTimeAreDroppedAndCounted) {
    const WheelRun run = run_of(800.0, 12.0);
    std::vector<WheelEdge> edges = make_edges(run);
    const std::vector<Tooth> clean = feed(run.config, edges, ~std::uint64_t{0}, 0);
    std::vector<WheelEdge> spoilt;
    int spoiled = 0;
    for (std::size_t i = 0; i < edges.size(); ++i) {
        spoilt.push_back(edges[i]);
        if (i % 50 == 10) {
            spoilt.push_back(edges[i]);      // the same again
            spoilt.push_back(edges[i - 3]);  // from the past
            spoiled += 2;
        }
    }
    SyncState sync;
    const std::vector<Tooth> teeth = feed(run.config, spoilt, ~std::uint64_t{0}, 0, &sync);
    EXPECT_EQ(sync.faults, spoiled);
    EXPECT_EQ(sync.edges, static_cast<std::int64_t>(spoilt.size()));
    ASSERT_EQ(teeth.size(), clean.size());
    for (std::size_t i = 0; i < teeth.size(); ++i) ASSERT_EQ(teeth[i].tick, clean[i].tick);
}

TEST(DecoderClock, ACrankAndACamEdgeMayShareATick) {
    Decoder decoder;
    decoder.configure(car(even_wheel(60, {58, 59})));
    std::array<Tooth, kMaxTeethPerPush> out;
    EXPECT_EQ(decoder.push(1000, Signal::crank, out.data()), 0);
    EXPECT_EQ(decoder.push(1000, Signal::cam, out.data()), 0);
    EXPECT_EQ(decoder.sync().faults, 0);
    EXPECT_EQ(decoder.push(1000, Signal::crank, out.data()), 0);
    EXPECT_EQ(decoder.sync().faults, 1);
    EXPECT_EQ(decoder.now(), 1000);
}

TEST(DecoderClock, AWideCounterThatStepsMoreThanHalfItsRangeRanBackwards) {
    Config config = car(even_wheel(60, {58, 59}));
    config.timer = {1.0e6, 32};
    Decoder decoder;
    decoder.configure(config);
    std::array<Tooth, kMaxTeethPerPush> out;
    (void)decoder.push(1000, Signal::crank, out.data());
    (void)decoder.push(900, Signal::crank, out.data());
    EXPECT_EQ(decoder.sync().faults, 1);
    EXPECT_EQ(decoder.now(), 1000);
    (void)decoder.push(2000, Signal::crank, out.data());
    EXPECT_EQ(decoder.now(), 2000);
    // A narrow counter knows no backwards: almost its whole range may pass between two edges.
    config.timer.bits = 16;
    decoder.configure(config);
    (void)decoder.push(1000, Signal::crank, out.data());
    (void)decoder.push(900, Signal::crank, out.data());
    EXPECT_EQ(decoder.sync().faults, 0);
    EXPECT_EQ(decoder.now(), 1000 + 65436);
}

/// `run` with the tick of one edge `ahead` of its time; what is left of the teeth.
void expect_recovered(const WheelRun& run, std::size_t at, std::int64_t ahead) {
    std::vector<WheelEdge> edges = make_edges(run);
    const auto mask = run.config.timer.bits == 0 ? ~std::uint64_t{0} : (std::uint64_t{1} << run.config.timer.bits) - 1;
    const std::vector<Tooth> clean = feed(run.config, edges, mask, 0);
    edges[at].tick += ahead;
    SyncState sync;
    const std::vector<Tooth> teeth = feed(run.config, edges, mask, 0, &sync);
    EXPECT_LT(sync.faults, 33);
    EXPECT_EQ(sync.losses, 1);
    EXPECT_GT(teeth.size() + 150, clean.size());
    EXPECT_EQ(teeth.back().tick, clean.back().tick) << "time goes on as if nothing had been";
    EXPECT_EQ(teeth.back().index, clean.back().index);
    EXPECT_TRUE(teeth.back().phase_known);
}

TEST(DecoderClock, OneWrongTickDoesNotEndTheStream) {
    WheelRun run = run_of(800.0, 24.0);
    for (const std::size_t at : {std::size_t{300}, std::size_t{301}, std::size_t{700}})
        for (const int bits : {0, 32, 48}) {
            SCOPED_TRACE(std::to_string(bits) + " bits, edge " + std::to_string(at));
            run.config.timer.bits = bits;
            expect_recovered(run, at, 1000000000);
        }
}

TEST(DecoderClock, AClockThatBeginsAnewIsFollowed) {
    const WheelRun run = run_of(800.0, 12.0);
    std::vector<WheelEdge> edges = make_edges(run);
    const auto half = static_cast<std::ptrdiff_t>(edges.size() / 2);
    std::rotate(edges.begin(), edges.begin() + half, edges.end());
    SyncState sync;
    const std::vector<Tooth> teeth = feed(run.config, edges, ~std::uint64_t{0}, 0, &sync);
    EXPECT_LT(sync.faults, 33);
    EXPECT_EQ(sync.losses, 1);
    EXPECT_GT(teeth.size(), edges.size() * 3 / 4);
}

TEST(DecoderClock, LateEdgesInSmallLotsCostNoSynchronism) {
    const WheelRun run = run_of(800.0, 12.0);
    const std::vector<WheelEdge> edges = make_edges(run);
    std::vector<WheelEdge> twice;
    for (std::size_t i = 0; i < edges.size(); ++i) {
        twice.push_back(edges[i]);
        if (i == 400) twice.insert(twice.end(), edges.begin() + 370, edges.begin() + 400);
    }
    SyncState sync;
    const std::vector<Tooth> teeth = feed(run.config, twice, ~std::uint64_t{0}, 0, &sync);
    EXPECT_EQ(sync.losses, 0);
    EXPECT_EQ(sync.faults, 30);
    EXPECT_EQ(teeth.size(), feed(run.config, edges, ~std::uint64_t{0}, 0).size());
}

TEST(DecoderClock, ExtremeTicksDoNoHarm) {
    constexpr auto kLeast = std::numeric_limits<std::int64_t>::min();
    constexpr auto kMost = std::numeric_limits<std::int64_t>::max();
    for (const int bits : {0, 16, 62}) {
        Config config = car(even_wheel(60, {58, 59}));
        config.timer.bits = bits;
        Decoder decoder;
        decoder.configure(config);
        std::array<Tooth, kMaxTeethPerPush> out;
        for (int i = 0; i < 200; ++i)
            for (const std::int64_t tick :
                 {kLeast, kLeast + i, std::int64_t{-1}, std::int64_t{i}, kMost - 500 + i, kMost})
                (void)decoder.push(tick, i % 3 == 0 ? Signal::cam : Signal::crank, out.data());
        EXPECT_EQ(decoder.sync().edges, 1200);
    }
}

TEST(DecoderClock, RandomInputKeepsItsPromises) {
    std::mt19937_64 random(1);
    for (int round = 0; round < 30; round += kStride) {
        Decoder decoder;
        decoder.configure(car(round % 2 == 0 ? even_wheel(60, {58, 59}) : even_wheel(4, {})));
        std::array<Tooth, kMaxTeethPerPush> out;
        std::int64_t tick = 0;
        std::int64_t revolution = -1;
        std::int64_t last_tick = -1;
        std::int64_t given = 0;
        for (int i = 0; i < 20000; ++i) {
            tick += static_cast<std::int64_t>(random() % (i % 100 == 0 ? 5000000U : 300000U));
            const int count = decoder.push(tick, random() % 20 == 0 ? Signal::cam : Signal::crank, out.data());
            ASSERT_GE(count, 0);
            ASSERT_LE(count, kMaxTeethPerPush);
            for (int k = 0; k < count; ++k) {
                const Tooth& tooth = out[static_cast<std::size_t>(k)];
                ASSERT_GE(tooth.revolution, revolution);
                ASSERT_GT(tooth.tick, last_tick);
                ASSERT_GE(tooth.index, 0);
                ASSERT_LT(tooth.index, round % 2 == 0 ? 58 : 4);
                revolution = tooth.revolution;
                last_tick = tooth.tick;
            }
            given += count;
        }
        EXPECT_EQ(decoder.sync().teeth, given);
        EXPECT_EQ(decoder.sync().edges, 20000);
    }
}

/// A decoder that has seen nothing yet, and edges for it.
class FreshDecoder : public ::testing::Test {
  protected:
    FreshDecoder() { decoder.configure(run.config); }

    const WheelRun run = run_of(800.0, 10.0);
    const std::vector<WheelEdge> edges = make_edges(run);
    Decoder decoder;
    std::array<Tooth, kMaxTeethPerPush> out;
};

TEST_F(FreshDecoder, AfterAResetIsAsNew) {
    std::vector<std::int64_t> first;
    std::vector<std::int64_t> second;
    for (std::vector<std::int64_t>* seen : {&first, &second}) {
        decoder.reset();
        for (const WheelEdge& edge : edges) {
            const int count = decoder.push(edge.tick, edge.signal, out.data());
            for (int k = 0; k < count; ++k) {
                const Tooth& tooth = out[static_cast<std::size_t>(k)];
                seen->push_back(tooth.tick + 1000 * tooth.index + 100000 * tooth.revolution + tooth.half);
            }
        }
    }
    EXPECT_EQ(first, second);
}

TEST_F(FreshDecoder, ItsSnapshotGoesOnAlike) {
    std::array<Tooth, kMaxTeethPerPush> copied;
    Decoder snapshot = decoder;
    for (std::size_t i = 0; i < edges.size(); ++i) {
        if (i == edges.size() / 2) snapshot = decoder;
        const int count = decoder.push(edges[i].tick, edges[i].signal, out.data());
        if (i < edges.size() / 2) continue;
        ASSERT_EQ(snapshot.push(edges[i].tick, edges[i].signal, copied.data()), count);
        for (int k = 0; k < count; ++k)
            ASSERT_EQ(out[static_cast<std::size_t>(k)].tick, copied[static_cast<std::size_t>(k)].tick);
    }
}

}  // namespace
}  // namespace kurbel::test
