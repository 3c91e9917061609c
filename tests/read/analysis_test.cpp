// Feeding order, resuming after a full queue, and the batch call over a real Detector.
#include "kurbel/read/analysis.hpp"

#include <gtest/gtest.h>

#include <sstream>

#include "kurbel/detector.hpp"
#include "support/inline4_edges.hpp"

namespace {

using namespace kurbel;
using namespace kurbel::read;

/// Writes down what it is given; refuses every `refuse_each`-th push once, as a full queue does.
struct Listener {
    std::ostringstream heard;
    int refuse_each = 0;
    int pushes = 0;

    bool full() { return refuse_each > 0 && ++pushes % refuse_each == 0; }
    Status push_edge(std::int64_t tick, Signal signal) {
        if (full()) return {StatusCode::queue_full, "", ""};
        heard << (signal == Signal::cam ? "cam " : "crank ") << tick << "; ";
        return {};
    }
    Status push_channel(std::int64_t tick, Channel channel, double value) {
        if (full()) return {StatusCode::queue_full, "", ""};
        heard << "channel" << static_cast<int>(channel) << " " << tick << "=" << value << "; ";
        return {};
    }
};

struct Story {
    std::vector<std::int64_t> ticks{65000, 65535, 100, 200};
    std::vector<std::uint8_t> signals{0, 1, 0, 0};
    std::vector<ChannelRow> channels{{0, Channel::load, 0.5},
                                     {65536 + 100, Channel::load, 0.25},
                                     {65536 + 101, Channel::fuel_cut, 1.0},
                                     {65536 + 900, Channel::load, 0.75}};
    [[nodiscard]] EdgeView view() const {
        return {ticks.data(), signals.data(), ticks.size(), channels.data(), channels.size(), 16};
    }
};

constexpr const char* kExpected =
    "channel0 0=0.5; crank 65000; cam 65535; channel0 65636=0.25; crank 100; channel1 65637=1; crank 200; ";

TEST(Feed, ChannelsComeBeforeEdgesAtEqualTimesOnTheUnwrappedClock) {
    const Story story;
    Feed feed(story.view());
    Listener listener;
    EXPECT_TRUE(feed.run(listener).ok());
    EXPECT_TRUE(feed.done());
    EXPECT_EQ(listener.heard.str(), kExpected) << "the last row comes after every edge and has no effect";
}

TEST(Feed, ResumesAfterAFullQueueWithoutLossOrRepetition) {
    const Story story;
    for (const int refuse_each : {2, 3, 5}) {
        Feed feed(story.view());
        Listener listener;
        listener.refuse_each = refuse_each;
        int calls = 0;
        while (!feed.done() && ++calls < 100) {
            const Status status = feed.run(listener);
            EXPECT_TRUE(status.ok() || status.code == StatusCode::queue_full);
        }
        EXPECT_EQ(listener.heard.str(), kExpected) << refuse_each;
    }
}

TEST(Feed, TakesASliceAtATime) {
    const Story story;
    Feed feed(story.view());
    Listener listener;
    for (std::size_t taken = 1; taken <= 4; ++taken) {
        EXPECT_TRUE(feed.run(listener, 1).ok());
        EXPECT_EQ(feed.edges_taken(), taken);
    }
    EXPECT_EQ(listener.heard.str(), kExpected);
}

Config inline4_config() {
    Config config;
    config.engine.cylinders = 4;
    config.engine.firing_order = {1, 3, 4, 2};
    make_even_firing(config.engine);
    const std::array<int, 2> absent{58, 59};
    EXPECT_TRUE(make_even_wheel(60, absent.data(), 2, config.crank_wheel).ok());
    config.crank_wheel.tdc1_deg = 84.0;
    config.cam_wheel.edges = 1;
    config.cam_wheel.edge_deg[0] = 50.0;
    config.timer = {1e6, 32};
    return config;
}

TEST(Analyze, GivesEveryEventOfTheStream) {
    const kurbel_test::Edges edges = kurbel_test::inline4_edges();
    const Config config = inline4_config();
    const EdgeView view{edges.ticks.data(), edges.signals.data(), edges.ticks.size(), nullptr, 0, 32};
    double told = 0.0;
    const Result<Analysis> result = analyze(config, view, [&](double share) {
        EXPECT_GE(share, told);
        told = share;
    });
    ASSERT_TRUE(result.ok()) << result.status.parameter << result.status.why;
    EXPECT_EQ(told, 1.0);
    EXPECT_EQ(result.value.sync.edges, static_cast<std::int64_t>(edges.ticks.size()));
    // 20 s at about 1200 rpm are 800 firings; a few at the ends may have no event.
    EXPECT_NEAR(static_cast<double>(result.value.events.size()), 800.0, 40.0);
    for (std::size_t i = 1; i < result.value.events.size(); ++i)
        EXPECT_GT(result.value.events[i].time_s, result.value.events[i - 1].time_s);
}

TEST(Analyze, SaysWhichParameterIsWrong) {
    Config config = inline4_config();
    config.engine.firing_order[1] = 1;
    const Result<Analysis> result = analyze(config, EdgeView{});
    EXPECT_EQ(result.status.code, StatusCode::bad_engine);
    EXPECT_STREQ(result.status.parameter, "engine.firing_order");
}

}  // namespace
