// Sums over a window against the same sums in double precision.
#include "kurbel/stage/window.hpp"

#include <gtest/gtest.h>

#include <random>

namespace kurbel::test {
namespace {

class WindowSums : public testing::Test {
  protected:
    WindowSums() {
        for (float& value : x) value = static_cast<float>(normal(random));
        for (float& value : longer) value = static_cast<float>(normal(random));
    }
    std::mt19937_64 random{5};
    std::normal_distribution<double> normal;
    Window x{};
    std::array<float, kMaxWindow + 20> longer{};
};

TEST_F(WindowSums, CountEveryPlaceOnce) {
    for (std::size_t i = 0; i < kMaxWindow; ++i) {
        Window one{};
        one[i] = 3.0F;
        EXPECT_EQ(sum_of(one), 3.0F) << i;
        EXPECT_EQ(dot(one, longer), 3.0F * longer[i]) << i;
    }
}

TEST_F(WindowSums, EndWhereTheyAreToldTo) {
    for (int length = 0; length <= kMaxWindow; ++length) {
        double sum = 0.0;
        double bends = 0.0;
        for (int i = 0; i < length; ++i) sum += static_cast<double>(x[static_cast<std::size_t>(i)]);
        for (int i = 0; i + 2 < length; ++i) {
            const auto at = static_cast<std::size_t>(i);
            const double bend =
                static_cast<double>(x[at]) - 2.0 * static_cast<double>(x[at + 1]) + static_cast<double>(x[at + 2]);
            bends += bend * bend;
        }
        const auto at = [this](std::size_t i) { return x[i]; };
        EXPECT_NEAR(static_cast<double>(sum_of_first(length, at)), sum, 1e-5) << length;
        EXPECT_NEAR(static_cast<double>(square_bend(length, at)), bends, 1e-5 * (1.0 + bends)) << length;
        const Window head = head_of(longer, length);
        for (int i = 0; i < kMaxWindow; ++i) {
            const auto place = static_cast<std::size_t>(i);
            EXPECT_EQ(head[place], i < length ? longer[place] : 0.0F);
        }
    }
}

}  // namespace
}  // namespace kurbel::test
