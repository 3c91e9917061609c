// The oscillation that misfires leave behind: found where one is, and nowhere else.
#include "kurbel/stage/crank_ringing.hpp"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <random>

namespace kurbel::test {
namespace {

constexpr int kBins = 24;
using Response = std::array<float, kBins>;
using Responses = std::array<Response, 4>;

/// Oscillation of this amplitude, 1.1 rad and a twentieth less a bin, beside white noise.
Responses ringing(double amplitude, double noise, unsigned seed) {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> normal;
    Responses responses{};
    for (Response& response : responses)
        for (int j = 0; j < kBins; ++j)
            response[static_cast<std::size_t>(j)] =
                static_cast<float>(amplitude * std::exp(-0.05 * j) * std::cos(1.1 * j) + noise * normal(random));
    return responses;
}

TEST(CrankRinging, IsFoundAsItIs) {
    const CrankRinging found = fit_ringing(ringing(1.0, 0.0, 1), 4, 1, kBins, 1.0F);
    EXPECT_TRUE(found.any());
    EXPECT_NEAR(static_cast<double>(found.a), 2.0 * std::exp(-0.05) * std::cos(1.1), 1e-3);
    EXPECT_NEAR(static_cast<double>(found.b), std::exp(-0.1), 1e-3);
}

TEST(CrankRinging, GoesOnFromTheBinsBefore) {
    const Response truth = ringing(1.0, 0.0, 1)[0];
    Response r = truth;
    for (int j = 10; j < kBins; ++j) r[static_cast<std::size_t>(j)] = 0.0F;
    fit_ringing(ringing(1.0, 0.0, 1), 4, 1, kBins, 1.0F).go_on(r, 10, kBins);
    for (int j = 0; j < kBins; ++j)
        EXPECT_NEAR(r[static_cast<std::size_t>(j)], truth[static_cast<std::size_t>(j)], 1e-3F) << j;
}

TEST(CrankRinging, IsNoneThatTellsLessThanHalfOfWhatIsSeen) {
    // As much noise as ringing: a fit that dies out is found in most draws, and means nothing.
    for (unsigned seed = 0; seed < 20; ++seed)
        EXPECT_FALSE(fit_ringing(ringing(0.5, 0.5, seed), 4, 1, kBins, 1.0F).any()) << seed;
}

TEST(CrankRinging, IsNoneSlowerThanACrankTwists) {
    EXPECT_TRUE(fit_ringing(ringing(1.0, 0.0, 1), 4, 1, kBins, static_cast<float>(std::cos(1.0))).any());
    EXPECT_FALSE(fit_ringing(ringing(1.0, 0.0, 1), 4, 1, kBins, static_cast<float>(std::cos(1.2))).any());
}

TEST(CrankRinging, IsNoneOfNothingOrOfAConstant) {
    EXPECT_FALSE(fit_ringing(Responses{}, 4, 1, kBins, 1.0F).any());
    Responses constant{};
    for (Response& response : constant) response.fill(1.0F);
    EXPECT_FALSE(fit_ringing(constant, 4, 1, kBins, 1.0F).any());
}

}  // namespace
}  // namespace kurbel::test
