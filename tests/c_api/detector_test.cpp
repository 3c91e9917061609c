// kurbel.h: the detector's life, its answers to wrong calls, and its agreement
// with the C++ Detector bit for bit.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstring>
#include <memory>
#include <string>
#include <vector>

#include "c_api/support.hpp"
#include "kurbel/detector.hpp"
#include "support/inline4_edges.hpp"

namespace {

using kurbel_test::Edges;
using kurbel_test::inline4;
using kurbel_test::inline4_edges;

struct Destroy {
    void operator()(kurbel_detector* detector) const { kurbel_detector_destroy(detector); }
};
using Handle = std::unique_ptr<kurbel_detector, Destroy>;

Handle make(const kurbel_config& config = inline4()) {
    kurbel_detector* detector = nullptr;
    EXPECT_EQ(kurbel_detector_create(&config, &detector), KURBEL_OK);
    return Handle(detector);
}

kurbel_event blank_event() {
    kurbel_event event{};
    event.struct_size = sizeof event;
    return event;
}

void take(kurbel_detector* detector, std::vector<kurbel_event>& events) {
    kurbel_event event = blank_event();
    while (kurbel_detector_next_event(detector, &event) == KURBEL_EVENT) events.push_back(event);
}

void push_all(kurbel_detector* detector, const Edges& edges, std::size_t from, std::size_t to,
              std::vector<kurbel_event>& events) {
    while (from < to) {
        std::size_t consumed = 0;
        const std::int32_t answer = kurbel_detector_push_edges(detector, edges.ticks.data() + from,
                                                               edges.signals.data() + from, to - from, &consumed);
        from += consumed;
        take(detector, events);
        ASSERT_TRUE(answer == KURBEL_OK || answer == KURBEL_QUEUE_FULL) << kurbel_status_message(answer);
    }
}

void finish(kurbel_detector* detector, std::vector<kurbel_event>& events) {
    std::int32_t answer = KURBEL_QUEUE_FULL;
    while (answer == KURBEL_QUEUE_FULL) {
        answer = kurbel_detector_finish(detector);
        take(detector, events);
    }
    ASSERT_EQ(answer, KURBEL_OK);
}

std::vector<kurbel_event> run(kurbel_detector* detector, const Edges& edges) {
    std::vector<kurbel_event> events;
    push_all(detector, edges, 0, edges.ticks.size(), events);
    finish(detector, events);
    return events;
}

bool same_bits(const std::vector<kurbel_event>& a, const std::vector<kurbel_event>& b) {
    return a.size() == b.size() && std::memcmp(a.data(), b.data(), a.size() * sizeof(kurbel_event)) == 0;
}

TEST(CDetector, JudgesEveryFiringAndCountsEveryEdge) {
    const Handle detector = make();
    const auto events = run(detector.get(), inline4_edges());
    // 20 s at 1200 rpm are about 800 firings.
    EXPECT_GT(events.size(), 700U);
    kurbel_sync sync{};
    sync.struct_size = sizeof sync;
    ASSERT_EQ(kurbel_detector_sync(detector.get(), &sync), KURBEL_OK);
    EXPECT_EQ(sync.phase, KURBEL_PHASE_CAM);
    EXPECT_EQ(sync.edges, static_cast<std::int64_t>(inline4_edges().ticks.size()));
    EXPECT_EQ(sync.faults, 0);
}

TEST(CDetector, SameBitsAsCpp) {
    const Edges edges = inline4_edges();
    const Handle detector = make();
    const auto from_c = run(detector.get(), edges);

    kurbel::Config config;
    config.engine.cylinders = 4;
    config.engine.firing_order = {1, 3, 4, 2};
    make_even_firing(config.engine);
    const int absent[2] = {58, 59};
    ASSERT_TRUE(make_even_wheel(60, absent, 2, config.crank_wheel).ok());
    config.crank_wheel.tdc1_deg = 84.0;
    config.cam_wheel.edges = 1;
    config.cam_wheel.edge_deg[0] = 50.0;
    config.timer = {1.0e6, 32};
    auto made = std::make_unique<kurbel::Result<kurbel::Detector>>(kurbel::Detector::create(config));
    ASSERT_TRUE(made->ok());
    std::size_t next = 0;
    const auto compare = [&] {
        kurbel::Event event;
        while (made->value.next_event(event)) {
            ASSERT_LT(next, from_c.size());
            EXPECT_EQ(std::memcmp(&event.time_s, &from_c[next].time_s, sizeof(double)), 0);
            EXPECT_EQ(std::memcmp(&event.severity, &from_c[next].severity, sizeof(double)), 0);
            EXPECT_EQ(std::memcmp(&event.probability, &from_c[next].probability, sizeof(double)), 0);
            EXPECT_EQ(event.cylinder, from_c[next].cylinder);
            EXPECT_EQ(static_cast<int>(event.verdict), from_c[next].verdict);
            ++next;
        }
    };
    for (std::size_t i = 0; i < edges.ticks.size();) {
        if (made->value.push_edge(edges.ticks[i], static_cast<kurbel::Signal>(edges.signals[i])).ok()) ++i;
        compare();
    }
    while (!made->value.finish().ok()) compare();
    compare();
    EXPECT_EQ(next, from_c.size());
}

TEST(CDetector, FullQueueConsumesNothingAndLosesNothing) {
    const Edges edges = inline4_edges();
    const Handle lazy = make();
    std::vector<kurbel_event> events;
    std::size_t full = 0;
    for (std::size_t from = 0; from < edges.ticks.size();) {
        std::size_t consumed = 0;
        const auto answer = kurbel_detector_push_edges(
            lazy.get(), edges.ticks.data() + from, edges.signals.data() + from, edges.ticks.size() - from, &consumed);
        from += consumed;
        if (answer == KURBEL_QUEUE_FULL) {
            ++full;
            std::size_t again = 99;
            EXPECT_EQ(kurbel_detector_push_edges(lazy.get(), edges.ticks.data() + from, edges.signals.data() + from, 1,
                                                 &again),
                      KURBEL_QUEUE_FULL);
            EXPECT_EQ(again, 0U);
        }
        take(lazy.get(), events);
    }
    finish(lazy.get(), events);
    EXPECT_GT(full, 0U) << "the queue never filled: the test shows nothing";
    EXPECT_TRUE(same_bits(events, run(make().get(), edges)));
}

TEST(CDetector, InitInCallersMemoryEqualsCreate) {
    const std::size_t size = kurbel_detector_size();
    std::vector<std::max_align_t> memory(size / sizeof(std::max_align_t) + 2);
    const kurbel_config config = inline4();
    kurbel_detector* detector = nullptr;
    ASSERT_EQ(kurbel_detector_init(memory.data(), size, &config, &detector), KURBEL_OK);
    const Edges edges = inline4_edges();
    EXPECT_TRUE(same_bits(run(detector, edges), run(make().get(), edges)));

    EXPECT_EQ(kurbel_detector_init(memory.data(), size - 1, &config, &detector), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(detector, nullptr);
    EXPECT_EQ(kurbel_detector_init(nullptr, size, &config, &detector), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_detector_init(memory.data(), size, &config, nullptr), KURBEL_BAD_ARGUMENT);
    auto* odd = reinterpret_cast<char*>(memory.data()) + 8;
    EXPECT_EQ(kurbel_detector_init(odd, size, &config, &detector), KURBEL_BAD_ARGUMENT);
}

TEST(CDetector, ResetIsFresh) {
    const Edges edges = inline4_edges();
    const Handle detector = make();
    const auto first = run(detector.get(), edges);
    ASSERT_EQ(kurbel_detector_reset(detector.get()), KURBEL_OK);
    EXPECT_TRUE(same_bits(first, run(detector.get(), edges)));
}

TEST(CDetector, PushAfterFinishIsRefusedAndNamed) {
    const Handle detector = make();
    ASSERT_EQ(kurbel_detector_finish(detector.get()), KURBEL_OK);
    EXPECT_EQ(kurbel_detector_push_edge(detector.get(), 1, KURBEL_CRANK), KURBEL_BAD_ORDER);
    EXPECT_GT(std::strlen(kurbel_detector_last_error(detector.get())), 5U);
    EXPECT_EQ(kurbel_detector_push_channel(detector.get(), 1, KURBEL_LOAD, 0.5), KURBEL_BAD_ORDER);
    EXPECT_EQ(kurbel_detector_reset(detector.get()), KURBEL_OK);
    EXPECT_STREQ(kurbel_detector_last_error(detector.get()), "");
    EXPECT_EQ(kurbel_detector_push_edge(detector.get(), 1, KURBEL_CRANK), KURBEL_OK);
}

TEST(CDetector, ChannelsOutOfRangeAreRefused) {
    const Handle handle = make();
    kurbel_detector* d = handle.get();
    struct Case {
        std::int32_t channel;
        double low, high;
    };
    for (const Case& c :
         {Case{KURBEL_LOAD, 0.0, 10.0}, Case{KURBEL_FUEL_CUT, 0.0, 1.0}, Case{KURBEL_FUEL_CUT_CYLINDER(2), 0.0, 1.0},
          Case{KURBEL_COOLANT_C, -80.0, 250.0}, Case{KURBEL_VEHICLE_KMH, 0.0, 600.0}}) {
        for (const double good : {c.low, c.high, std::nan("")})
            EXPECT_EQ(kurbel_detector_push_channel(d, 1, c.channel, good), KURBEL_OK) << c.channel << " " << good;
        for (const double bad : {c.low - 0.1, c.high + 0.1})
            EXPECT_EQ(kurbel_detector_push_channel(d, 1, c.channel, bad), KURBEL_BAD_ARGUMENT)
                << c.channel << " " << bad;
    }
    EXPECT_STREQ(kurbel_detector_last_error(d), "vehicle_kmh: must lie in 0 to 600, or be NaN");
}

TEST(CDetector, OneWrongTickEndsNothing) {
    Edges edges = inline4_edges();
    const auto whole = run(make().get(), edges);
    edges.ticks[edges.ticks.size() / 4] += 1000000000;  // 1000 s ahead
    const Handle detector = make();
    const auto spoilt = run(detector.get(), edges);
    kurbel_sync sync{};
    sync.struct_size = sizeof sync;
    ASSERT_EQ(kurbel_detector_sync(detector.get(), &sync), KURBEL_OK);
    EXPECT_LT(sync.faults, 40);
    EXPECT_EQ(sync.losses, 1);
    EXPECT_GT(spoilt.size(), whole.size() * 9 / 10);
}

TEST(CDetector, EachBadArgumentIsRefused) {
    const Handle handle = make();
    kurbel_detector* d = handle.get();
    const kurbel_config config = inline4();
    kurbel_event event{};
    kurbel_sync sync{};
    std::int64_t tick = 1;
    std::size_t consumed = 5;
    const std::uint8_t strange = 2;
    EXPECT_EQ(kurbel_detector_create(&config, nullptr), KURBEL_BAD_ARGUMENT);
    kurbel_detector* none = d;
    EXPECT_EQ(kurbel_detector_create(nullptr, &none), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(none, nullptr);
    kurbel_detector_destroy(nullptr);
    EXPECT_EQ(kurbel_detector_reset(nullptr), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_detector_push_edge(nullptr, 1, KURBEL_CRANK), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_detector_push_edge(d, 1, 2), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_detector_push_edge(d, 1, -1), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(std::string(kurbel_detector_last_error(d)).rfind("signal: ", 0), 0U);
    EXPECT_EQ(kurbel_detector_push_edges(d, nullptr, nullptr, 1, &consumed), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(consumed, 0U);
    EXPECT_EQ(kurbel_detector_push_edges(d, nullptr, nullptr, 0, &consumed), KURBEL_OK);
    EXPECT_EQ(kurbel_detector_push_edges(d, &tick, nullptr, 1, nullptr), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_detector_push_edges(nullptr, &tick, nullptr, 1, &consumed), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_detector_push_edges(d, &tick, &strange, 1, &consumed), KURBEL_BAD_ARGUMENT);
    for (const int channel : {-1, 4, 7, 24, 300}) {
        EXPECT_EQ(kurbel_detector_push_channel(d, 1, channel, 0.0), KURBEL_BAD_ARGUMENT) << channel;
    }
    EXPECT_EQ(kurbel_detector_push_channel(d, 1, KURBEL_FUEL_CUT_CYLINDER(16), 0.0), KURBEL_OK);
    EXPECT_EQ(kurbel_detector_push_channel(nullptr, 1, KURBEL_LOAD, 0.0), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_detector_next_event(d, nullptr), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_detector_next_event(nullptr, &event), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_detector_next_event(d, &event), KURBEL_BAD_ARGUMENT) << "struct_size was not set";
    EXPECT_EQ(kurbel_detector_sync(d, &sync), KURBEL_BAD_ARGUMENT) << "struct_size was not set";
    EXPECT_EQ(kurbel_detector_sync(d, nullptr), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_detector_finish(nullptr), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_detector_delay_cycles(nullptr), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_detector_snapshot(d, nullptr, 1 << 20), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_detector_restore(d, nullptr, 1 << 20), KURBEL_BAD_ARGUMENT);
    EXPECT_NE(kurbel_detector_last_error(nullptr), nullptr);
}

TEST(CDetector, DelayIsAtMostTwoCyclesAndTheEightThatWaitAtFirst) {
    const Handle detector = make();
    EXPECT_GE(kurbel_detector_delay_cycles(detector.get()), 0);
    EXPECT_LE(kurbel_detector_delay_cycles(detector.get()), 10);
}

// An older program's smaller event struct (were there one) must not be written
// past; a newer one's tail is left alone.
TEST(CDetector, LargerEventStructKeepsItsTail) {
    const Handle detector = make();
    struct {
        kurbel_event event;
        std::uint64_t tail;
    } later{};
    later.event.struct_size = sizeof later;
    later.tail = 0xABCD;
    const Edges edges = inline4_edges({.seconds = 2.0});
    std::size_t consumed = 0;
    kurbel_detector_push_edges(detector.get(), edges.ticks.data(), edges.signals.data(), edges.ticks.size(), &consumed);
    ASSERT_EQ(kurbel_detector_next_event(detector.get(), &later.event), KURBEL_EVENT);
    EXPECT_EQ(later.event.struct_size, sizeof later);
    EXPECT_EQ(later.tail, 0xABCDU);
}

TEST(CDetector, SnapshotResumesBitForBit) {
    const Edges edges = inline4_edges();
    const Handle whole = make();
    const auto expected = run(whole.get(), edges);
    std::vector<unsigned char> bytes(kurbel_detector_snapshot_size());
    for (const double share : {0.0, 0.013, 0.31, 0.77}) {
        const auto cut = static_cast<std::size_t>(share * static_cast<double>(edges.ticks.size()));
        std::vector<kurbel_event> events;
        {
            const Handle first = make();
            push_all(first.get(), edges, 0, cut, events);
            ASSERT_EQ(kurbel_detector_snapshot(first.get(), bytes.data(), bytes.size()), KURBEL_OK);
        }
        const Handle second = make();
        ASSERT_EQ(kurbel_detector_restore(second.get(), bytes.data(), bytes.size()), KURBEL_OK);
        push_all(second.get(), edges, cut, edges.ticks.size(), events);
        finish(second.get(), events);
        EXPECT_TRUE(same_bits(expected, events)) << "cut at " << cut;
    }
}

TEST(CDetector, DamagedSnapshotIsRefusedAndChangesNothing) {
    const Edges edges = inline4_edges({.seconds = 3.0});
    const Handle detector = make();
    std::vector<kurbel_event> before;
    push_all(detector.get(), edges, 0, edges.ticks.size() / 2, before);
    const std::size_t size = kurbel_detector_snapshot_size();
    std::vector<unsigned char> good(size);
    ASSERT_EQ(kurbel_detector_snapshot(detector.get(), good.data(), size), KURBEL_OK);
    EXPECT_EQ(kurbel_detector_snapshot(detector.get(), good.data(), size - 1), KURBEL_BAD_ARGUMENT);
    const std::vector<std::size_t> places{0, 7, 8, 12, 16, 24, 40, size / 2, size - 1};
    for (const std::size_t place : places) {
        auto bad = good;
        bad[place] ^= 0x10;
        EXPECT_EQ(kurbel_detector_restore(detector.get(), bad.data(), size), KURBEL_BAD_INPUT) << place;
        EXPECT_EQ(std::string(kurbel_detector_last_error(detector.get())).rfind("snapshot: ", 0), 0U);
    }
    EXPECT_EQ(kurbel_detector_restore(detector.get(), good.data(), size - 1), KURBEL_BAD_INPUT);
    std::vector<unsigned char> after(size);
    ASSERT_EQ(kurbel_detector_snapshot(detector.get(), after.data(), size), KURBEL_OK);
    EXPECT_EQ(good, after);
    EXPECT_EQ(kurbel_detector_restore(detector.get(), good.data(), size), KURBEL_OK);
}

}  // namespace
