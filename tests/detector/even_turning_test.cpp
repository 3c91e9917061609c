// A crank that turns evenly, to the tick: no noise, no work, nothing to divide by.
#include <gtest/gtest.h>

#include <cmath>
#include <memory>

#include "kurbel/detector.hpp"

namespace kurbel::test {
namespace {

template <class Real>
class EvenTurning : public testing::Test {};

using Reals = testing::Types<double, float>;
TYPED_TEST_SUITE(EvenTurning, Reals);

TYPED_TEST(EvenTurning, TellsNumbers) {
    Config config;
    config.engine.cylinders = 4;
    config.engine.firing_order = {1, 3, 4, 2};
    make_even_firing(config.engine);
    const int absent[2] = {58, 59};
    ASSERT_TRUE(make_even_wheel(60, absent, 2, config.crank_wheel).ok());
    const auto made = std::make_unique<Result<BasicDetector<TypeParam>>>(BasicDetector<TypeParam>::create(config));
    ASSERT_TRUE(made->ok());
    BasicDetector<TypeParam>& detector = made->value;
    int events = 0;
    const auto take = [&] {
        Event event;
        while (detector.next_event(event)) {
            ++events;
            if (event.verdict == Verdict::unjudged) continue;
            EXPECT_FALSE(std::isnan(event.probability)) << events;
            EXPECT_FALSE(std::isnan(event.evidence)) << events;
            EXPECT_EQ(event.verdict, Verdict::fired) << events;
        }
    };
    std::int64_t tick = 0;
    for (int tooth = 0; tooth < 60 * 400; ++tooth) {
        tick += 1000000;
        if (tooth % 60 >= 58) continue;
        while (!detector.push_edge(tick, Signal::crank).ok()) take();
        take();
    }
    while (!detector.finish().ok()) take();
    take();
    EXPECT_GT(events, 700);
}

}  // namespace
}  // namespace kurbel::test
