// The climb through sets of cylinders against a look at all of them.
#include "kurbel/stage/missing_search.hpp"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <string>

namespace kurbel::test {
namespace {

using Square = Eigen::MatrixXd;
using Side = Eigen::VectorXd;
using Search = MissingSearch<double, Square, Side>;
using Prior = Search::Prior;

const CylinderLife<double> kSilent{};  // no firing has told anything
constexpr double kLeast = 0.2;
constexpr double kMost = 1.4;
constexpr Search::Sizes kSizes{kLeast, 0.5, kMost, 0.3};

struct Problem {
    Square square;
    Side side;
    Prior prior{};
};

/// Log-probability of one set, written down anew: bit k is cylinder k.
double value_of(const Problem& p, unsigned members) {
    double linear = 0.0;
    double square = 0.0;
    double prior = 0.0;
    for (int k = 0; k < p.side.size(); ++k) {
        if (((members >> k) & 1U) == 0U) continue;
        linear += p.side[k];
        prior += p.prior[static_cast<std::size_t>(k)];
        for (int l = 0; l < p.side.size(); ++l)
            if (((members >> l) & 1U) != 0U) square += p.square(k, l);
    }
    if (members == 0U) return 0.0;
    // Sets that divide the firing order evenly share a cause often enough to be e^2 times as likely for each further cylinder.
    const auto n = static_cast<unsigned>(p.side.size());
    for (unsigned step = 2; step < n; ++step)
        for (unsigned first = 0; n % step == 0 && first < step; ++first) {
            unsigned even = 0;
            for (unsigned k = first; k < n; k += step) even |= 1U << k;
            if (members == even) prior += 2.0 * (n / step - 1.0);
        }
    // So do the banks of an eight in two planes, wherever in their row the firing order begins.
    const std::string row = "LRLLRLRR";
    for (std::size_t begin = 0; n == 8 && begin < 8; ++begin) {
        unsigned bank = 0;
        for (std::size_t k = 0; k < 8; ++k) bank |= row[(begin + k) % 8] == 'R' ? 1U << k : 0U;
        if (members == bank) prior += 2.0 * 3.0;
    }
    const auto orders = [&](double size) { return size * linear - 0.5 * size * size * square + prior; };
    const double weak = std::clamp(linear / square, kSizes.least, kSizes.dead);
    // Of a dead one the size is normal around one (completing the square).
    const double known = 1.0 / (kSizes.error * kSizes.error);
    const double dead = std::clamp((linear + known) / (square + known), kSizes.dead, kSizes.most);
    return std::max(orders(weak), orders(dead) - 0.5 * known * (dead - 1.0) * (dead - 1.0));
}

double brute_force(const Problem& p) {
    double best = 0.0;
    for (unsigned members = 0; members < (1U << p.side.size()); ++members) best = std::max(best, value_of(p, members));
    return best;
}

unsigned bits(const Search::Set& set) {
    unsigned members = 0;
    for (std::size_t k = 0; k < set.size(); ++k) members |= set[k] ? 1U << k : 0U;
    return members;
}

class Draws {
  public:
    /// Positive definite; the linear part is what some set of cylinders and noise of unit variance would give.
    Problem next(int cylinders) {
        Square root(cylinders, cylinders + 2);
        for (int i = 0; i < root.size(); ++i) root.data()[i] = normal_(random_);
        Problem p{root * root.transpose(), Side(cylinders), {}};
        Side missing(cylinders);
        for (int k = 0; k < cylinders; ++k) missing[k] = normal_(random_) > 0.5 ? 1.0 + 0.1 * normal_(random_) : 0.0;
        Side noise(cylinders + 2);
        for (int i = 0; i < noise.size(); ++i) noise[i] = normal_(random_);
        p.side = p.square * missing + root * noise;
        for (int k = 0; k < cylinders; ++k) p.prior[static_cast<std::size_t>(k)] = -2.0 + normal_(random_);
        return p;
    }

  private:
    std::mt19937_64 random_{5};
    std::normal_distribution<double> normal_;
};

Problem independent(double each) {
    Problem p{Square::Identity(3, 3) * 100.0, Side::Constant(3, 0.0), {}};
    p.side[1] = 100.0 * each;
    return p;
}

TEST(MissingSearch, IsAsGoodAsLookingAtAllSetsInAlmostAllDraws) {
    Draws draws;
    int equal = 0;
    int all = 0;
    for (int cylinders = 1; cylinders <= 8; ++cylinders)
        for (int n = 0; n < 250; ++n) {
            const Problem p = draws.next(cylinders);
            Search::Set set{};
            const double found = Search(p.square, p.side, cylinders, kSizes, p.prior, kSilent, true).best(set);
            const double best = brute_force(p);
            const double tolerance = 1e-9 * (1.0 + best);
            ASSERT_LE(found, best + tolerance);
            // What it returns is the value of the set that it names.
            ASSERT_NEAR(found, value_of(p, bits(set)), tolerance);
            equal += found >= best - tolerance ? 1 : 0;
            ++all;
        }
    EXPECT_GE(equal, all * 95 / 100) << equal << " of " << all;
    RecordProperty("equal", equal);
}

TEST(MissingSearch, FindsNoneWhereNoneIsMissing) {
    const Problem p = independent(0.0);
    Search::Set set;
    set.fill(true);
    EXPECT_EQ(Search(p.square, p.side, 3, kSizes, p.prior, kSilent, true).best(set), 0.0);
    EXPECT_EQ(bits(set), 0U);
}

TEST(MissingSearch, SizesAreKeptWithinTheirLimits) {
    const Prior none{};
    struct Case {
        double missing;
        double size;
    };
    // A dead one is drawn towards one, which expected work is as far from as the sizes say: at 100 of information, with an error of 0.3,
    // 1 / 0.09 = 11.1 of it by that.
    const double drawn = (90.0 + 1.0 / 0.09) / (100.0 + 1.0 / 0.09);
    for (const Case& c : {Case{0.9, drawn}, Case{0.3, 0.3}, Case{0.05, kLeast}, Case{2.0, kMost}, Case{-1.0, kLeast}}) {
        const Problem p = independent(c.missing);
        const Search search(p.square, p.side, 3, kSizes, none, kSilent, true);
        Search::Set one{};
        one[1] = true;
        EXPECT_DOUBLE_EQ(search.size(one), c.size);
    }
    const Problem p = independent(1.0);
    EXPECT_DOUBLE_EQ(Search(p.square, p.side, 3, kSizes, none, kSilent, true).size(Search::Set{}), 1.0);
}

TEST(MissingSearch, ThereMayBeAnotherWorkAtAPrice) {
    // Of three times the work, as wide in share of itself: an error of 0.9, so that 1 / 0.81 draws a reading of 2.8 towards 3.
    constexpr Search::Sizes kOther{kLeast, 0.5, kMost, 0.3, 3.0};
    const Prior none{};
    Search::Set one{};
    one[1] = true;
    const Problem thrice = independent(2.8);
    const Search search(thrice.square, thrice.side, 3, kOther, none, kSilent, true);
    const double known = 1.0 / 0.81;
    const double size = (280.0 + 3.0 * known) / (100.0 + known);
    EXPECT_NEAR(search.size(one), size, 1e-12);
    const double price = 1.0 + 0.5 * std::log((1.0 + 81.0) / (1.0 + 9.0));
    EXPECT_NEAR(search.of(one), 280.0 * size - 50.0 * size * size - 0.5 * known * (size - 3.0) * (size - 3.0) - price,
                1e-9);
    // Nearer to one than to three, by ratio, it is what it was.
    const Problem whole = independent(1.6);
    EXPECT_EQ(Search(whole.square, whole.side, 3, kOther, none, kSilent, true).of(one),
              Search(whole.square, whole.side, 3, kSizes, none, kSilent, true).of(one));
}

TEST(MissingSearch, ASmallLossCountsWithTheLeastSize) {
    // A share of 0.11 beside a least share of 0.2: 0.2 * 11 - 0.02 * 100 = 0.2; of 0.09: less than nothing.
    for (const bool enough : {true, false}) {
        const Problem p = independent(enough ? 0.11 : 0.09);
        Search::Set set{};
        const double value = Search(p.square, p.side, 3, kSizes, p.prior, kSilent, true).best(set);
        EXPECT_NEAR(value, enough ? 0.2 : 0.0, 1e-12);
        EXPECT_EQ(bits(set), enough ? 2U : 0U);
    }
}

TEST(MissingSearch, PriorsDecideWhereThePatternHardlyDoes) {
    // One whole work missing is worth 50 here; log-odds of -49 leave one, of -51 nothing.
    for (const double prior : {-49.0, -51.0}) {
        Problem p = independent(1.0);
        p.prior.fill(prior);
        Search::Set set{};
        EXPECT_NEAR(Search(p.square, p.side, 3, kSizes, p.prior, kSilent, true).best(set), std::max(50.0 + prior, 0.0),
                    1e-9);
        EXPECT_EQ(bits(set), prior > -50.0 ? 2U : 0U);
    }
    // A cylinder known to be dead is named without a sign of it, as long as that costs less than the prior gives.
    Problem p = independent(0.0);
    p.prior[2] = 3.0;
    Search::Set set{};
    EXPECT_NEAR(Search(p.square, p.side, 3, kSizes, p.prior, kSilent, true).best(set), 3.0 - 0.5 * 0.04 * 100.0, 1e-9);
    EXPECT_EQ(bits(set), 4U);
}

TEST(MissingSearch, FindsAPairThatNeitherOfItsMembersTells) {
    // What both lose together shows, what one alone loses would show elsewhere, too: the sum alone fits.
    Problem p;
    p.square = Square::Constant(4, 4, 0.0);
    p.square.diagonal().setConstant(400.0);
    p.square(0, 2) = p.square(2, 0) = p.square(1, 3) = p.square(3, 1) = -390.0;
    p.side = Side::Constant(4, -10.0);
    p.side[1] = p.side[3] = 10.0;
    p.prior.fill(-3.0);
    Search::Set set{};
    const double found = Search(p.square, p.side, 4, kSizes, p.prior, kSilent, true).best(set);
    EXPECT_EQ(bits(set), 0b1010U);
    EXPECT_NEAR(found, brute_force(p), 1e-9);
    // Where no two fire a revolution apart, as in a two-stroke, they share no coil.
    EXPECT_NEAR(Search(p.square, p.side, 4, kSizes, p.prior, kSilent, false).best(set), found - 2.0, 1e-9);
    // Sets that lie evenly may be likelier by themselves.
    EXPECT_NEAR(Search(p.square, p.side, 4, kSizes, p.prior, kSilent, true, {1.5, 1.5, 1.5, 1.5}).best(set),
                found + 3.0, 1e-9);
}

TEST(MissingSearch, FindsABankThatNoneAndNoPairOfItsMembersTells) {
    // An even-firing V8 whose every other firing is lost shows one order alone, strongly: each set but the two banks would show others.
    Problem p;
    constexpr int kCylinders = 8;
    p.square = Square::Zero(kCylinders, kCylinders);
    p.side = Side::Zero(kCylinders);
    for (int order = 1; order < kCylinders; ++order) {
        const double weight = order == 4 ? 4.0 : 40.0;  // the wheel's own error lies at that order, too
        for (int k = 0; k < kCylinders; ++k) {
            const double angle = 2.0 * std::numbers::pi * order / kCylinders;
            for (int l = 0; l < kCylinders; ++l) p.square(k, l) += weight * std::cos(angle * (k - l));
            for (int l = 1; l < kCylinders; l += 2) p.side[k] += weight * std::cos(angle * (k - l));
        }
    }
    p.prior.fill(-3.0);
    Search::Set set{};
    const double found = Search(p.square, p.side, kCylinders, kSizes, p.prior, kSilent, true).best(set);
    EXPECT_EQ(bits(set), 0b10101010U);
    EXPECT_NEAR(found, brute_force(p), 1e-9);
}

TEST(MissingSearch, FindsABankOfAnEightInTwoPlanesThatNoneOfItsPartsTells) {
    // The firings of cylinders 2, 4, 6 and 8 of the order 1-8-4-3-6-5-7-2, all orders known equally ill: one, two or three of them explain less
    // than their priors cost, all four more.
    Problem p;
    constexpr int kCylinders = 8;
    constexpr unsigned kBank = 0b10010110;
    p.square = Square::Constant(kCylinders, kCylinders, -1.0);
    p.square.diagonal().setConstant(7.0);
    p.side = Side::Zero(kCylinders);
    for (int k = 0; k < kCylinders; ++k)
        for (int l = 0; l < kCylinders; ++l)
            if (((kBank >> l) & 1U) != 0U) p.side[k] += p.square(k, l);
    p.prior.fill(-3.0);
    Search::Set set{};
    const double found = Search(p.square, p.side, kCylinders, kSizes, p.prior, kSilent, true).best(set);
    EXPECT_EQ(bits(set), kBank);
    EXPECT_NEAR(found, brute_force(p), 1e-9);
    // In a two-stroke engine there are no such rows.
    EXPECT_EQ(Search(p.square, p.side, kCylinders, kSizes, p.prior, kSilent, false).best(set), 0.0);
}

TEST(MissingSearch, WeighsOneAlone) {
    Problem p;
    p.square = Square::Identity(3, 3) * 50.0;
    p.side = Side::Zero(3);
    p.side[1] = 50.0;
    const Search search(p.square, p.side, 3, kSizes, p.prior, kSilent, true);
    EXPECT_DOUBLE_EQ(search.alone(1), 25.0);
    // Nothing missing, but at least a fifth would have to be: 0.2^2 x 50 / 2 against it.
    EXPECT_DOUBLE_EQ(search.alone(0), -1.0);
}

TEST(MissingSearch, LifeTellsOfTheDeadNotOfTheWeak) {
    // A third of the work lost, and a cylinder that hardly scatters beside two that do: dead, by a work that was told too large. Where the
    // orders are sure of the third it is a weak one, whatever its scatter.
    CylinderLife<double> calm;
    calm.begin(3);
    for (int k = 0; k < 3; ++k) calm.begin_with(k, 200, 0.0, k == 1 ? 1e-4 : 1e-2);
    const Prior none{};
    for (const double information : {10.0, 1000.0}) {
        Problem p{Square::Identity(3, 3) * information, Side::Zero(3), {}};
        p.side[1] = information / 3.0;
        Search::Set set{};
        const Search search(p.square, p.side, 3, kSizes, none, calm, true);
        static_cast<void>(search.best(set));
        ASSERT_EQ(bits(set), 2U) << information;
        if (information < 100.0)
            EXPECT_GE(search.size(set), kSizes.dead);
        else
            EXPECT_NEAR(search.size(set), 1.0 / 3.0, 1e-9);
        // Without a word of life both are weak.
        EXPECT_NEAR(Search(p.square, p.side, 3, kSizes, none, kSilent, true).size(set), 1.0 / 3.0, 1e-9) << information;
    }
}

}  // namespace
}  // namespace kurbel::test
