// Slow torque beside a lost combustion. Numbers "by SciPy" come from scipy 1.10.1: stats.multivariate_normal for the densities of the
// window, integrate.quad over the lost share.
#include "kurbel/stage/slow_torque.hpp"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <random>

#include "kurbel/stage/pedal_rest.hpp"
#include "stage/rigid_crank.hpp"

namespace kurbel::test {
namespace {

using Matrix = SlowTorque::Matrix;

constexpr float kError = 0.3F;
constexpr double kNoise = 0.03;

TEST(SlowTorque, AgreesWithScipy) {
    constexpr int kSize = 12;
    constexpr std::array<float, kSize> kResponse{0.0F,  0.0F, -0.1F, -0.3F, -0.3F, -0.2F,
                                                 -0.1F, 0.0F, 0.0F,  0.05F, 0.05F, 0.05F};
    Matrix usual(kSize, kSize);
    for (int j = 0; j < kSize; ++j)
        for (int i = j; i < kSize; ++i)
            usual(i, j) = (i == j ? 0.01F : 0.0F) + 0.02F * std::exp(-static_cast<float>(i - j) / 3.0F);
    ResponseBank::Response response{};
    Window x{};
    for (std::size_t j = 0; j < kSize; ++j) {
        response[j] = kResponse[j];
        x[j] = 0.8F * kResponse[j] + 0.1F * std::cos(0.7F * static_cast<float>(j));
    }
    Matrix alone = usual;
    Matrix fuller = usual;
    EXPECT_NEAR(SlowTorque(alone, 0.003F, 0.4F).loss_ratio(x, response, 0.35F), 3.32057F, 2e-3F);
    SlowTorque beside(usual, 0.003F, 0.4F);
    beside.allow(response, 6);
    EXPECT_NEAR(beside.loss_ratio(x, response, 0.35F), 3.01305F, 2e-3F);
    // All firings, one of them six bins later, may do half of their work more or less.
    Window all{};
    for (std::size_t j = 0; j < kSize; ++j) all[j] = kResponse[j] + (j < 6 ? 0.0F : kResponse[j - 6]);
    SlowTorque charge(fuller, 0.003F, 0.4F);
    charge.allow_charge(all, 0.5F);
    EXPECT_NEAR(charge.loss_ratio(x, response, 0.35F), 2.64667F, 2e-3F);
}

/// Windows of a four at 1500 rpm and a quarter of full charge.
struct Road : MatchedCrank {
    Road() : MatchedCrank(engine_of({1, 3, 4, 2}), SensorAt::front, 1500.0, kNoise) {}

    [[nodiscard]] float ratio(const Window& x) const {
        Matrix usual = covariance.present(bank.doubt());
        return SlowTorque(usual, bin_s(), 0.25F).loss_ratio(x, bank.response(1), kError);
    }
    [[nodiscard]] float bin_s() const { return static_cast<float>(grid.bin_deg) / 6.0F / 1500.0F; }
    Window noise() {
        Window x{};
        for (int j = 0; j < size; ++j) x[static_cast<std::size_t>(j)] = static_cast<float>(kNoise * normal(random));
        return x;
    }
    void lose(Window& x, int place, int shift, float share) const {
        for (int j = shift; j < size; ++j)
            x[static_cast<std::size_t>(j)] += share * bank.response(place)[static_cast<std::size_t>(j - shift)];
    }
    /// A push of `size_s` seconds' width around the middle of a combustion, that takes as much energy as one gives.
    void push(Window& x, float width_s) const {
        float sum = 0.0F;
        Window shape{};
        for (int j = 0; j < size; ++j) {
            const float off = (static_cast<float>(j - before) - 2.0F) * bin_s() / width_s;
            shape[static_cast<std::size_t>(j)] = std::exp(-0.5F * off * off);
            sum += shape[static_cast<std::size_t>(j)];
        }
        for (int j = 0; j < size; ++j) x[static_cast<std::size_t>(j)] -= shape[static_cast<std::size_t>(j)] / sum;
    }

    std::mt19937_64 random{11};
    std::normal_distribution<double> normal{0.0, 1.0};
};

TEST(SlowTorque, TellsALostCombustionFromOneThatIsThere) {
    Road road;
    for (int n = 0; n < 200; ++n) {
        Window healthy = road.noise();
        Window lost = healthy;
        road.lose(lost, 1, 0, 1.0F);
        EXPECT_GT(road.ratio(lost), 7.0F) << n;  // enough where one in a thousand firings is a misfire
        EXPECT_LT(road.ratio(healthy), 0.0F) << n;
    }
}

TEST(SlowTorque, KnowsAChargeThatIsNotWhatItIsTakenFor) {
    // The pedal was let go, and nobody told: all four do half of what is expected of them.
    Road road;
    const int between = road.grid.bins / 4;
    Window all{};
    for (int k = 0; k < 4; ++k)
        for (int shift = (k - 1) * between - road.grid.bins; shift < road.size; shift += road.grid.bins)
            for (int j = std::max(shift, 0); j < std::min(road.size, shift + road.bank.length()); ++j)
                all[static_cast<std::size_t>(j)] += road.bank.response(k)[static_cast<std::size_t>(j - shift)];
    const auto ratio = [&](const Window& x, float deviation) {
        Matrix usual = road.covariance.present(road.bank.doubt());
        SlowTorque torque(usual, road.bin_s(), 0.25F);
        torque.allow_charge(all, deviation);
        return torque.loss_ratio(x, road.bank.response(1), kError);
    };
    float alone = 0.0F;
    float beside = 0.0F;
    for (int n = 0; n < 50; ++n) {
        Window less = road.noise();
        for (int j = 0; j < road.size; ++j)
            less[static_cast<std::size_t>(j)] += 0.5F * all[static_cast<std::size_t>(j)];
        alone += road.ratio(less);
        EXPECT_LT(ratio(less, 0.5F), 0.0F) << n;
        // One that loses its work beside that is found.
        road.lose(less, 1, 0, 0.5F);
        beside += ratio(less, 0.5F);
    }
    EXPECT_GT(alone, 3.0F * 50.0F) << "or the charge is no trap";
    EXPECT_GT(beside, 4.0F * 50.0F);
}

TEST(SlowTorque, KnowsAPushThatTakesAsMuchWork) {
    Road road;
    float as_lost = 0.0F;
    for (int n = 0; n < 200; ++n) {
        Window x = road.noise();
        road.push(x, 0.012F);
        as_lost += road.bank.match_whole(1, x).amplitude;
        EXPECT_LT(road.ratio(x), 4.0F) << n;  // no misfire where one in fifty firings is
    }
    EXPECT_GT(as_lost, 0.35F * 200.0F) << "or the push is no trap";
}

TEST(SlowTorque, FindsALostCombustionBesideAPush) {
    Road road;
    int found = 0;
    for (int n = 0; n < 200; ++n) {
        Window x = road.noise();
        for (int j = 0; j < road.size; ++j)
            x[static_cast<std::size_t>(j)] +=
                0.3F * std::sin(6.28F * 8.0F * static_cast<float>(j) * road.bin_s() + 1.0F);
        EXPECT_LT(road.ratio(x), 1.0F) << n;
        road.lose(x, 1, 0, 1.0F);
        found += road.ratio(x) > 1.0F ? 1 : 0;
    }
    EXPECT_GE(found, 195);
}

TEST(SlowTorque, DoesNotTakeANeighboursLossForAPush) {
    Road road;
    const int shift = road.grid.tdc_bin[2] - road.grid.tdc_bin[1];
    Window x = road.noise();
    road.lose(x, 1, 0, 1.0F);
    road.lose(x, 2, shift, 1.0F);
    Matrix usual = road.covariance.present(road.bank.doubt());
    SlowTorque torque(usual, road.bin_s(), 0.25F);
    torque.allow(road.bank.response(2), shift);
    EXPECT_GT(torque.loss_ratio(x, road.bank.response(1), kError), 7.0F);
    EXPECT_LT(road.ratio(x), torque.loss_ratio(x, road.bank.response(1), kError)) << "or allowing it does nothing";
}

TEST(PedalRest, IsStillUntilTheFootMovesAndAWhileAfter) {
    PedalRest pedal;
    EXPECT_FALSE(pedal.still());
    for (int n = 0; n < 100; ++n) pedal.take(0.3F + 0.02F * static_cast<float>(n % 2), 0.03F);
    EXPECT_TRUE(pedal.still());
    pedal.take(0.15F, 0.03F);
    EXPECT_FALSE(pedal.still());
    for (int n = 0; n < 70; ++n) pedal.take(0.15F, 0.03F);  // 2.1 s, of which the first the mean takes to follow
    EXPECT_FALSE(pedal.still());
    for (int n = 0; n < 70; ++n) pedal.take(0.15F, 0.03F);
    EXPECT_TRUE(pedal.still());
}

TEST(PedalRest, IsNeverStillWithoutALoad) {
    PedalRest pedal;
    for (int n = 0; n < 1000; ++n) pedal.take(std::nanf(""), 0.03F);
    EXPECT_FALSE(pedal.still());
}

}  // namespace
}  // namespace kurbel::test
