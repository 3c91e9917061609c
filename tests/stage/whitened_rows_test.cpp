// The decomposition with rows beneath, against Eigen's.
#include "kurbel/stage/whitened_rows.hpp"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <random>

namespace kurbel::test {
namespace {

using Rows = WhitenedRows<double, 12, 5>;

/// `size` columns of a random covariance, and `further` rows beneath it.
Eigen::MatrixXd draw(int size, int further, unsigned seed) {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> normal;
    const auto fill = [&](int rows, int columns) {
        Eigen::MatrixXd m(rows, columns);
        for (int j = 0; j < columns; ++j)
            for (int i = 0; i < rows; ++i) m(i, j) = normal(random);
        return m;
    };
    const Eigen::MatrixXd root = fill(size, size + 2);
    Eigen::MatrixXd all(size + further, size);
    all.topRows(size) = root * root.transpose();
    if (further > 0) all.bottomRows(further) = fill(further, size);
    return all;
}

void put(const Eigen::MatrixXd& all, int j, Rows& rows) {
    auto& column = rows[static_cast<std::size_t>(j)];
    column.fill(0.0);
    for (int i = j; i < all.rows(); ++i) column[static_cast<std::size_t>(i)] = all(i, j);
}

TEST(WhitenedRows, AreWhatForwardSubstitutionMakesOfThem) {
    for (int size = 1; size <= 12; ++size)
        for (int further = 0; further <= 5; ++further) {
            const Eigen::MatrixXd all = draw(size, further, static_cast<unsigned>(17 * size + further));
            const Eigen::LLT<Eigen::MatrixXd> llt(all.topRows(size));
            const Eigen::MatrixXd lower = llt.matrixL();
            Eigen::MatrixXd beneath(further, size);
            if (further > 0) beneath = llt.matrixL().solve(all.bottomRows(further).transpose()).transpose();
            Rows rows;
            for (int j = 0; j < size; ++j) {
                put(all, j, rows);
                const double root = rows.finish(static_cast<std::size_t>(j), static_cast<std::size_t>(size + further));
                EXPECT_NEAR(root, lower(j, j), 1e-10 * lower(j, j)) << size << " " << further << " " << j;
                const auto& column = rows[static_cast<std::size_t>(j)];
                for (int i = j; i < size; ++i) EXPECT_NEAR(column[static_cast<std::size_t>(i)], lower(i, j), 1e-9);
                for (int i = 0; i < further; ++i)
                    EXPECT_NEAR(column[static_cast<std::size_t>(size + i)], beneath(i, j), 1e-8);
            }
        }
}

TEST(WhitenedRows, SayWhereAMatrixIsNoCovariance) {
    Eigen::MatrixXd all = draw(4, 0, 3);
    all(2, 2) = -1.0;
    Rows rows;
    for (int j = 0; j < 2; ++j) {
        put(all, j, rows);
        EXPECT_GT(rows.finish(static_cast<std::size_t>(j), 4), 0.0);
    }
    put(all, 2, rows);
    EXPECT_EQ(rows.finish(2, 4), 0.0);
}

}  // namespace
}  // namespace kurbel::test
