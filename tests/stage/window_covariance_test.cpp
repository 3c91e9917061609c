// Running covariance against the same sums in double precision, its solution against Eigen's Cholesky decomposition.
#include "kurbel/stage/window_covariance.hpp"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>
#include <random>
#include <vector>

namespace kurbel::test {
namespace {

using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;

Vector wide(const Window& x, int size) {
    Vector v(size);
    for (int i = 0; i < size; ++i) v[i] = static_cast<double>(x[static_cast<std::size_t>(i)]);
    return v;
}

/// Windows whose neighbours are correlated, as those of a crank are.
class Windows {
  public:
    Window next(int size) {
        Window x{};
        double former = 0.0;
        for (int i = 0; i < size; ++i) {
            former = 0.6 * former + normal_(random_);
            x[static_cast<std::size_t>(i)] = static_cast<float>(0.1 * former);
        }
        return x;
    }
    double weight() { return uniform_(random_); }

  private:
    std::mt19937_64 random_{11};
    std::normal_distribution<double> normal_;
    std::uniform_real_distribution<double> uniform_{0.0, 1.0};
};

/// A covariance and what it should be: old windows lose 1/(1 + 1/kMemory) with each new one.
struct Pair {
    Pair(int size, int windows) : sum(Matrix::Zero(size, size)) {
        covariance.begin(size);
        covariance.add_prior_diagonal(0.004F);
        sum.diagonal().array() += 0.004 * WindowCovariance::kPriorCount;
        const Window slow = source.next(size);
        covariance.add_prior(slow, 0.5F);
        sum += 0.5 * WindowCovariance::kPriorCount * wide(slow, size) * wide(slow, size).transpose();
        covariance.end_prior();
        for (int n = 0; n < windows; ++n) {
            const Window x = source.next(size);
            const double weight = source.weight();
            covariance.learn(x, static_cast<float>(weight));
            const double keep = 1.0 / (1.0 + 1.0 / WindowCovariance::kMemory);
            sum = keep * sum + weight * wide(x, size) * wide(x, size).transpose();
            total = keep * total + weight;
        }
    }

    /// What factorise(doubt) stands for.
    [[nodiscard]] Matrix expected(double doubt) const {
        Matrix c = sum / total;
        c.diagonal().array() += doubt + 1e-4 * c.trace() / static_cast<double>(c.rows());
        return c;
    }

    Windows source;
    WindowCovariance covariance;
    Matrix sum;
    double total = WindowCovariance::kPriorCount;
};

/// Largest error of solve() over the largest number of the exact solution of the block from place `from` to `length`.
double error_of_solve(const Pair& pair, const Window& g, int from, int length, double doubt) {
    Window w;
    w.fill(99.0F);
    pair.covariance.solve(g, w, from, length);
    const int count = length - from;
    Vector exact = Vector::Zero(length);
    exact.tail(count) = pair.expected(doubt).block(from, from, count, count).llt().solve(wide(g, length).tail(count));
    return (wide(w, length) - exact).cwiseAbs().maxCoeff() / exact.cwiseAbs().maxCoeff();
}
double error_of_solve(const Pair& pair, const Window& g, int length, double doubt) {
    return error_of_solve(pair, g, 0, length, doubt);
}

TEST(WindowCovariance, IsNotBegunBeforeThePriorIsIn) {
    WindowCovariance covariance;
    covariance.begin(5);
    EXPECT_FALSE(covariance.begun());
    covariance.add_prior_diagonal(1.0F);
    EXPECT_FALSE(covariance.begun());
    covariance.end_prior();
    EXPECT_TRUE(covariance.begun());
    EXPECT_EQ(covariance.size(), 5);
    EXPECT_FLOAT_EQ(covariance.variance(4), 1.0F);
    covariance.begin(5);
    EXPECT_FALSE(covariance.begun());
}

TEST(WindowCovariance, SumsWindowsAndForgetsOldOnes) {
    // 9000 windows: the growing weight passes the point where sums are scaled back.
    for (const int windows : {0, 1, 30, 700, 9000}) {
        const Pair pair(12, windows);
        for (int i = 0; i < 12; ++i)
            EXPECT_NEAR(static_cast<double>(pair.covariance.variance(i)), pair.sum(i, i) / pair.total,
                        2e-4 * pair.sum(i, i) / pair.total)
                << windows << " windows, place " << i;
    }
}

TEST(WindowCovariance, SolvesWhatIsThereOfAWindowThatLacksItsBeginning) {
    Pair pair(24, 6000);
    ASSERT_TRUE(pair.covariance.factorise(0.003F));
    for (const int from : {1, 4, 23})
        for (const int length : {24, 23}) {
            if (from >= length) continue;
            EXPECT_LT(error_of_solve(pair, pair.source.next(24), from, length, 0.003), 2e-3) << from << " " << length;
        }
}

TEST(WindowCovariance, SolvesAsEigenDoes) {
    for (const int size : {1, 2, 19, 34, kMaxWindow})
        for (const int windows : {0, 40, 6000}) {
            Pair pair(size, windows);
            for (const double doubt : {0.0, 0.003}) {
                ASSERT_TRUE(pair.covariance.factorise(static_cast<float>(doubt)));
                EXPECT_LT(error_of_solve(pair, pair.source.next(size), size, doubt), 2e-3)
                    << size << " places, " << windows << " windows, doubt " << doubt;
            }
        }
}

TEST(WindowCovariance, APartOfTheWindowIsSolvedWithTheLeadingBlock) {
    Pair pair(30, 500);
    ASSERT_TRUE(pair.covariance.factorise(0.001F));
    const Window g = pair.source.next(30);
    for (const int length : {1, 2, 15, 29}) {
        EXPECT_LT(error_of_solve(pair, g, length, 0.001), 1e-3) << length;
        Window w;
        w.fill(99.0F);
        pair.covariance.solve(g, w, length);
        for (int i = length; i < 30; ++i) EXPECT_EQ(w[static_cast<std::size_t>(i)], 0.0F) << length;
    }
}

TEST(WindowCovariance, KeepsTheFormerFactorWhereThereIsNone) {
    Pair pair(8, 100);
    ASSERT_TRUE(pair.covariance.factorise(0.002F));
    const Window g = pair.source.next(8);
    Window before{};
    pair.covariance.solve(g, before, 8);
    EXPECT_FALSE(pair.covariance.factorise(-10.0F));
    Window after{};
    pair.covariance.solve(g, after, 8);
    EXPECT_EQ(before, after);
}

TEST(WindowCovariance, HasLearnedOnceWindowsOutweighThePrior) {
    WindowCovariance covariance;
    covariance.begin(3);
    covariance.add_prior_diagonal(1.0F);
    covariance.end_prior();
    Windows source;
    int windows = 0;
    while (!covariance.learned() && windows < 1000) {
        covariance.learn(source.next(3), 1.0F);
        ++windows;
    }
    // total > 100: 25 and n windows, less what both have faded by (1/800 each time).
    const double keep = 1.0 / (1.0 + 1.0 / 800.0);
    double total = 25.0;
    int expected = 0;
    while (total <= 100.0) {
        total = keep * total + 1.0;
        ++expected;
    }
    EXPECT_NEAR(windows, expected, 1);
    // Stays so after the scale was turned back, many windows later.
    for (int n = 0; n < 7000; ++n) covariance.learn(source.next(3), 1.0F);
    EXPECT_TRUE(covariance.learned());
}

/// Second differences of windows, summed from the covariance as it should be.
TEST(WindowCovariance, FollowsTheBendOfWhatItLearned) {
    for (const int size : {3, 19, 36})
        for (const int windows : {0, 30, 7000}) {
            const Pair pair(size, windows);
            Matrix second = Matrix::Zero(size - 2, size);
            for (int i = 0; i + 2 < size; ++i) second.row(i).segment(i, 3) << 1.0, -2.0, 1.0;
            const double expected = (second * (pair.sum / pair.total) * second.transpose()).trace() / (size - 2);
            EXPECT_NEAR(static_cast<double>(pair.covariance.bend()), expected, 2e-4 * expected)
                << size << " " << windows;
        }
}

TEST(WindowCovariance, SolvesSeveralSidesAsItSolvesOne) {
    for (const int size : {2, 19, 36}) {
        Pair pair(size, 500);
        ASSERT_TRUE(pair.covariance.factorise(0.001F, 0.0005F));
        WindowCovariance::Block block{};
        std::array<Window, WindowCovariance::kBeside> alone{};
        for (std::size_t n = 0; n < alone.size(); ++n) {
            const Window g = pair.source.next(size);
            for (std::size_t i = 0; i < g.size(); ++i) block[i][n] = g[i];
            pair.covariance.solve(g, alone[n], size);
        }
        pair.covariance.solve(block);
        for (std::size_t n = 0; n < alone.size(); ++n)
            for (std::size_t i = 0; i < static_cast<std::size_t>(size); ++i) EXPECT_EQ(block[i][n], alone[n][i]);
    }
}

TEST(WindowCovariance, SquareOfAWindowIsTheOneOfEigen) {
    constexpr int kSize = 20;
    Pair pair(kSize, 300);
    ASSERT_TRUE(pair.covariance.factorise(0.0F));
    const Matrix covariance = pair.sum / pair.total;
    const double ridge = 1e-4 * covariance.trace() / kSize;
    const Matrix with_ridge = covariance + ridge * Matrix::Identity(kSize, kSize);
    for (int n = 0; n < 5; ++n) {
        const Window x = pair.source.next(kSize);
        const double square = wide(x, kSize).dot(with_ridge.llt().solve(wide(x, kSize)));
        EXPECT_NEAR(static_cast<double>(pair.covariance.square(x)), square, 1e-3 * square);
    }
}

TEST(HeavyTailedGain, IsTheRatioOfMultivariateTDensities) {
    // scipy.stats.multivariate_t 1.10.1, 20 dimensions, unit shape, 30 degrees of freedom: log density where the square is smaller by
    // twice the gain, less that of the window itself.
    EXPECT_NEAR(heavy_tailed_gain(10.0F, 20.0F, 20), 12.7706, 1e-3);
    EXPECT_NEAR(heavy_tailed_gain(30.0F, 80.0F, 20), 19.7114, 1e-3);
    EXPECT_NEAR(heavy_tailed_gain(30.0F, 8000.0F, 20), 0.1875, 1e-3);
    EXPECT_EQ(heavy_tailed_gain(0.0F, 25.0F, 20), 0.0F);
    EXPECT_LT(heavy_tailed_gain(-3.0F, 25.0F, 20), 0.0F);
}

}  // namespace
}  // namespace kurbel::test
