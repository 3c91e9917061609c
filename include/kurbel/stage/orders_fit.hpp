// How well a linear model of a pattern's orders explains them, and what it leaves for cylinders that miss their work.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/cylinder_orders.hpp"
#include "kurbel/stage/whitened_rows.hpp"

namespace kurbel {

/// Bayesian linear regression (any textbook): data = shape * coefficients + noise. The coefficients of the cylinders come first, then
/// those of what all of them share; all are normal, of mean zero.
template <class Real>
struct OrdersModel {
    static constexpr int kMaxRows = 2 * CylinderOrders::kMaxOrders + 2;
    static constexpr int kMaxColumns = kMaxCylinders + CylinderOrders::kSharedParts + 2;
    using Vector = Eigen::Matrix<Real, Eigen::Dynamic, 1, 0, kMaxRows, 1>;
    using Shape = Eigen::Matrix<Real, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor, kMaxRows, kMaxColumns>;
    using Square = Eigen::Matrix<Real, Eigen::Dynamic, Eigen::Dynamic, 0, kMaxColumns, kMaxColumns>;
    using Side = Eigen::Matrix<Real, Eigen::Dynamic, 1, 0, kMaxColumns, 1>;

    OrdersModel(int rows, int columns) noexcept
        : data(rows), weight(rows), shape(rows, columns), prior(Side::Zero(columns)) {}

    Vector data;
    Vector weight;  ///< inverse variance of the noise
    Shape shape;
    Side prior;  ///< inverse variance of each coefficient
};

/// The fit of such a model: its evidence, and the log-likelihood that is left in the cylinders' losses beyond what their coefficients
/// are free to be: linear'x - x'quadratic x / 2. Asked of many models of which one is chosen, so it computes no coefficients.
template <class Real>
class OrdersFit {
  public:
    using Model = OrdersModel<Real>;
    using Square = typename Model::Square;
    using Side = typename Model::Side;

    OrdersFit(const Model& model, int cylinders) noexcept
        : quadratic_(cylinders, cylinders), linear_(Side::Zero(cylinders)) {
        const auto columns = static_cast<std::size_t>(model.shape.cols());
        Rows rows;
        const std::size_t whole =
            (columns + 1 + static_cast<std::size_t>(cylinders) + Rows::kBlock - 1) / Rows::kBlock * Rows::kBlock;
        for (std::size_t j = 0; j < columns; ++j) std::fill_n(rows[j].begin(), whole, Real(0));
        gather(model, rows);
        read_information(rows, columns);
        for (std::size_t k = 0; k < static_cast<std::size_t>(cylinders); ++k) beneath(rows, columns, k);
        for (std::size_t j = 0; j < columns; ++j) rows[j][j] += model.prior[static_cast<int>(j)];
        solve(rows, columns);
    }

    /// Log-likelihood of the data, the coefficients integrated out, but for what depends on weights or priors alone. The lowest number where
    /// there is no telling.
    [[nodiscard]] Real evidence() const noexcept { return evidence_; }
    [[nodiscard]] const Square& quadratic() const noexcept { return quadratic_; }
    [[nodiscard]] const Side& linear() const noexcept { return linear_; }

  private:
    // Rows beneath the information: the data's share in each coefficient, then the information of each cylinder once more.
    using Rows = WhitenedRows<Real, Model::kMaxColumns, 1 + kMaxCylinders>;

    /// Information and right side: the sums over the model's rows.
    void gather(const Model& model, Rows& rows) noexcept {
        const auto columns = static_cast<std::size_t>(model.shape.cols());
        for (int r = 0; r < model.shape.rows(); ++r) {
            const Real* shape = &model.shape(r, 0);
            for (std::size_t j = 0; j < columns; ++j) {
                const Real factor = model.weight[r] * shape[j];
                auto& column = rows[j];
                for (std::size_t i = j; i < columns; ++i) column[i] += factor * shape[i];
                column[columns] += factor * model.data[r];
            }
            evidence_ -= Real(0.5) * model.weight[r] * model.data[r] * model.data[r];
        }
    }

    void read_information(const Rows& rows, std::size_t columns) noexcept {
        for (int k = 0; k < linear_.size(); ++k) {
            const auto& column = rows[static_cast<std::size_t>(k)];
            linear_[k] = column[columns];
            for (int l = k; l < linear_.size(); ++l) quadratic_(l, k) = column[static_cast<std::size_t>(l)];
        }
    }

    /// Cylinder k's information of all coefficients, as a further row.
    static void beneath(Rows& rows, std::size_t columns, std::size_t k) noexcept {
        for (std::size_t j = 0; j < columns; ++j) rows[j][columns + 1 + k] = j < k ? rows[j][k] : rows[k][j];
    }

    /// Takes what the coefficients explain out of the evidence, and out of what losses could.
    void solve(Rows& rows, std::size_t columns) noexcept {
        const auto cylinders = static_cast<std::size_t>(linear_.size());
        for (std::size_t j = 0; j < columns; ++j) {
            const Real root = rows.finish(j, columns + 1 + cylinders);
            if (!(root > Real(0))) {
                evidence_ = std::numeric_limits<Real>::lowest();
                return;
            }
            evidence_ -= std::log(root);
            const auto& column = rows[j];
            const Real data = column[columns];
            evidence_ += Real(0.5) * data * data;
            const Real* cylinder = column.data() + columns + 1;
            for (std::size_t k = 0; k < cylinders; ++k) {
                linear_[static_cast<int>(k)] -= data * cylinder[k];
                for (std::size_t l = k; l < cylinders; ++l)
                    quadratic_(static_cast<int>(l), static_cast<int>(k)) -= cylinder[k] * cylinder[l];
            }
        }
        for (int k = 0; k < linear_.size(); ++k)
            for (int l = k + 1; l < linear_.size(); ++l) quadratic_(k, l) = quadratic_(l, k);
    }

    Real evidence_ = 0;
    Square quadratic_;
    Side linear_;
};

}  // namespace kurbel
