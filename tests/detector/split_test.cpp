// The same edges give the same bits however they are handed over: when events are taken, how often, in what blocks, and
// whether the detector is copied, reset or moved in time on the way.
#include <gtest/gtest.h>

#include <cstring>
#include <memory>
#include <vector>

#include "kurbel/detector.hpp"
#include "kurbel/snapshot.hpp"
#include "support/inline4_config.hpp"
#include "support/inline4_edges.hpp"

namespace {

using kurbel_test::Edges;
using kurbel_test::inline4_config;
using kurbel_test::inline4_edges;
using kurbel_test::Inline4Run;

template <class Detector>
struct Run {
    explicit Run(const kurbel::Config& config)
        : made(std::make_unique<kurbel::Result<Detector>>(Detector::create(config))) {
        EXPECT_TRUE(made->ok()) << made->status.parameter << made->status.why;
    }
    std::unique_ptr<kurbel::Result<Detector>> made;
    std::vector<kurbel::Event> events;

    Detector& detector() { return made->value; }
    void take() {
        kurbel::Event event;
        while (detector().next_event(event)) events.push_back(event);
    }
    /// Pushes [from, to) and takes events after every `block` edges, or earlier where the queue demands it.
    void push(const Edges& edges, std::size_t from, std::size_t to, std::size_t block) {
        for (std::size_t i = from; i < to; ++i) {
            while (true) {
                const auto status = detector().push_edge(edges.ticks[i], static_cast<kurbel::Signal>(edges.signals[i]));
                if (status.ok()) break;
                ASSERT_EQ(status.code, kurbel::StatusCode::queue_full);
                take();
            }
            if ((i + 1) % block == 0) take();
        }
    }
    void finish() {
        while (true) {
            const auto status = detector().finish();
            take();
            if (status.ok()) break;
            ASSERT_EQ(status.code, kurbel::StatusCode::queue_full);
        }
    }
};

bool same_number(double a, double b) { return std::memcmp(&a, &b, sizeof a) == 0; }

/// Field by field: padding has no meaning.
bool same_bits(const kurbel::Event& a, const kurbel::Event& b) {
    return same_number(a.time_s, b.time_s) && a.cycle == b.cycle && a.cylinder == b.cylinder &&
           a.candidates == b.candidates && same_number(a.speed_rpm, b.speed_rpm) && same_number(a.load, b.load) &&
           same_number(a.acceleration_rad_s2, b.acceleration_rad_s2) && same_number(a.work_j, b.work_j) &&
           same_number(a.work_per_inertia, b.work_per_inertia) &&
           same_number(a.work_se_per_inertia, b.work_se_per_inertia) &&
           same_number(a.expected_per_inertia, b.expected_per_inertia) && same_number(a.severity, b.severity) &&
           same_number(a.evidence, b.evidence) && same_number(a.threshold, b.threshold) &&
           same_number(a.probability, b.probability) && a.verdict == b.verdict && a.reason == b.reason;
}

::testing::AssertionResult same_events(const std::vector<kurbel::Event>& a, const std::vector<kurbel::Event>& b) {
    if (a.size() != b.size()) return ::testing::AssertionFailure() << a.size() << " and " << b.size() << " events";
    for (std::size_t i = 0; i < a.size(); ++i)
        if (!same_bits(a[i], b[i]))
            return ::testing::AssertionFailure() << "event " << i << " at " << a[i].time_s << " s";
    return ::testing::AssertionSuccess();
}

kurbel::Config with_method(kurbel::Method method) {
    kurbel::Config config = inline4_config();
    config.settings.method = method;
    return config;
}

template <class Detector>
std::vector<kurbel::Event> whole(const kurbel::Config& config, const Edges& edges) {
    Run<Detector> run(config);
    run.push(edges, 0, edges.ticks.size(), 1);
    run.finish();
    return run.events;
}

template <class Real>
class Split : public ::testing::Test {};
using Reals = ::testing::Types<double, float>;
TYPED_TEST_SUITE(Split, Reals);

TYPED_TEST(Split, EveryBlockSizeGivesTheSameBits) {
    using Detector = kurbel::BasicDetector<TypeParam>;
    for (const auto method : {kurbel::Method::work, kurbel::Method::segment_roughness}) {
        const auto config = with_method(method);
        const Edges edges = inline4_edges();
        const auto expected = whole<Detector>(config, edges);
        ASSERT_GT(expected.size(), 700U);
        for (const std::size_t block : {2U, 7U, 61U, 997U, 1000000U}) {
            Run<Detector> run(config);
            run.push(edges, 0, edges.ticks.size(), block);
            run.finish();
            EXPECT_TRUE(same_events(expected, run.events)) << "block of " << block;
        }
    }
}

TYPED_TEST(Split, CopyAndSnapshotGoOnBitForBit) {
    using Detector = kurbel::BasicDetector<TypeParam>;
    const auto config = inline4_config();
    const Edges edges = inline4_edges();
    const auto expected = whole<Detector>(config, edges);
    std::vector<char> bytes(kurbel::kSnapshotSize<TypeParam>);
    for (const std::size_t cut : {std::size_t{1}, std::size_t{58}, std::size_t{5003}, edges.ticks.size() - 1}) {
        Run<Detector> first(config);
        first.push(edges, 0, cut, 13);
        first.take();
        ASSERT_TRUE(write_snapshot(first.detector(), bytes.data(), bytes.size()).ok());
        Run<Detector> second(config);
        ASSERT_TRUE(read_snapshot(bytes.data(), bytes.size(), second.detector()).ok());
        second.events = first.events;
        second.push(edges, cut, edges.ticks.size(), 29);
        second.finish();
        EXPECT_TRUE(same_events(expected, second.events)) << "cut at " << cut;
    }
}

TYPED_TEST(Split, ResetIsFresh) {
    using Detector = kurbel::BasicDetector<TypeParam>;
    for (const auto method : {kurbel::Method::work, kurbel::Method::segment_roughness}) {
        const auto config = with_method(method);
        const Edges edges = inline4_edges();
        Run<Detector> run(config);
        run.push(edges, 0, edges.ticks.size() / 3, 1);
        run.detector().reset();
        EXPECT_EQ(run.detector().sync().edges, 0);
        run.events.clear();
        run.push(edges, 0, edges.ticks.size(), 1);
        run.finish();
        EXPECT_TRUE(same_events(whole<Detector>(config, edges), run.events));
    }
}

// Whole revolutions of the counter and its width must not matter: only differences of ticks enter.
TYPED_TEST(Split, WrappedAndUnwrappedCountersAgree) {
    using Detector = kurbel::BasicDetector<TypeParam>;
    const Inline4Run plain{.bits = 0};
    const auto expected = whole<Detector>(inline4_config(plain), inline4_edges(plain));
    for (const int bits : {16, 24, 32}) {
        const std::int64_t range = std::int64_t{1} << bits;
        const Inline4Run wrapped{.bits = bits, .first_tick = plain.first_tick};
        auto events = whole<Detector>(inline4_config(wrapped), inline4_edges(wrapped));
        ASSERT_EQ(events.size(), expected.size()) << bits;
        const double shift_s = static_cast<double>(plain.first_tick / range * range) / plain.timer_hz;
        for (std::size_t i = 0; i < events.size(); ++i) {
            EXPECT_NEAR(events[i].time_s + shift_s, expected[i].time_s, 1e-6);
            events[i].time_s = expected[i].time_s;
        }
        EXPECT_TRUE(same_events(expected, events)) << bits;
    }
}

// Ten hours into a recording nothing is less exact than at its start.
TYPED_TEST(Split, LateStartGivesTheSameJudgement) {
    using Detector = kurbel::BasicDetector<TypeParam>;
    const Inline4Run early{.timer_hz = 1.0e9, .bits = 0, .first_tick = 0};
    const Inline4Run late{.timer_hz = 1.0e9, .bits = 0, .first_tick = 36000LL * 1000000000LL};
    const auto expected = whole<Detector>(inline4_config(early), inline4_edges(early));
    auto events = whole<Detector>(inline4_config(late), inline4_edges(late));
    ASSERT_EQ(events.size(), expected.size());
    for (std::size_t i = 0; i < events.size(); ++i) {
        EXPECT_NEAR(events[i].time_s - 36000.0, expected[i].time_s, 1e-7);
        events[i].time_s = expected[i].time_s;
    }
    EXPECT_TRUE(same_events(expected, events));
}

// What single precision may cost, with room to spare: verdicts agree, severities to a hundredth.
TEST(SplitPrecision, FloatJudgesAsDoubleDoes) {
    const auto config = inline4_config();
    const Edges edges = inline4_edges();
    const auto exact = whole<kurbel::BasicDetector<double>>(config, edges);
    const auto single = whole<kurbel::BasicDetector<float>>(config, edges);
    ASSERT_EQ(exact.size(), single.size());
    for (std::size_t i = 0; i < exact.size(); ++i) {
        EXPECT_EQ(exact[i].verdict, single[i].verdict) << exact[i].time_s;
        EXPECT_EQ(exact[i].cylinder, single[i].cylinder);
        if (exact[i].verdict == kurbel::Verdict::unjudged) continue;
        EXPECT_NEAR(exact[i].severity, single[i].severity, 0.01) << exact[i].time_s;
    }
}

}  // namespace
