// Running covariance of the residual window around healthy firings, and its inverse applied to responses.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/stage/window.hpp"

namespace kurbel {

/// What `gain`, the log-likelihood that an explanation of a window gains if windows are normal, comes to where their common scale
/// varies (multivariate t: Lange, Little and Taylor, JASA 84:881-896, 1989): a window far from all that is usual even when
/// explained, for it holds a false edge or a stone, tells little. `square`: of the window by its covariance (Mahalanobis).
[[nodiscard]] inline float heavy_tailed_gain(float gain, float square, int size) noexcept {
    constexpr float kFreedom = 30.0F;  // as in MisfireOdds
    const float left = std::max(square - 2.0F * gain, 0.0F);
    return 0.5F * (kFreedom + static_cast<float>(size)) * std::log((kFreedom + square) / (kFreedom + left));
}

/// Exponentially forgetting covariance of windows of `size` numbers. Starts from a prior that counts as kPriorCount
/// windows; remembers about kMemory. No allocation.
class WindowCovariance {
  public:
    static constexpr int kPriorCount = 25;
    static constexpr int kMemory = 800;

    using Real = float;
    using Matrix = Eigen::Matrix<Real, Eigen::Dynamic, Eigen::Dynamic, Eigen::ColMajor, kMaxWindow, kMaxWindow>;

    void begin(int size) noexcept {
        size_ = size;
        total_ = 0;
        gain_ = 1;
        bent_ = 0;
        for (Real& value : sum_) value = 0;
    }

    [[nodiscard]] bool begun() const noexcept { return total_ > Real(0); }

    /// The prior: adds scale * x x' to it. Call between begin() and end_prior().
    void add_prior(const Window& x, Real scale) noexcept { add(x, scale * Real(kPriorCount)); }
    void add_prior_diagonal(Real variance) noexcept {
        for (int i = 0; i < size_; ++i) at(i, i) += variance * Real(kPriorCount);
        bent_ += Real(6 * std::max(size_ - 2, 0)) * variance * Real(kPriorCount);  // 1, -2, 1 of independent values
    }
    void end_prior() noexcept { total_ = Real(kPriorCount); }

    /// Takes one healthy window with `weight` 0 to 1.
    void learn(const Window& x, Real weight) noexcept {
        // New windows are scaled up instead of old ones down: one pass over the triangle.
        gain_ *= Real(1) + Real(1) / Real(kMemory);
        add(x, gain_ * weight);
        total_ += gain_ * weight;
        if (gain_ > Real(1e3)) rescale();
    }

    /// The present covariance plus `doubt` on its diagonal and errors of single edges of variance `edge`; its lower triangle.
    [[nodiscard]] Matrix present(Real doubt, Real edge = 0) const noexcept {
        Matrix c(size_, size_);
        Real trace = 0;
        for (int i = 0; i < size_; ++i) trace += sum_[triangle(i, i)];
        for (int j = 0; j < size_; ++j)
            for (int i = j; i < size_; ++i) c(i, j) = sum_[triangle(i, j)] / total_;
        // A ridge against windows that hardly vary in one direction.
        const Real ridge = doubt + Real(1e-4) * trace / (total_ * Real(size_));
        for (int i = 0; i < size_; ++i) c(i, i) += ridge + Real(6) * edge;
        // A tooth that comes late makes one bin slower and the next one faster: 1, -2, 1 in the differences of energy.
        for (int i = 1; i < size_; ++i) c(i, i - 1) -= Real(4) * edge;
        for (int i = 2; i < size_; ++i) c(i, i - 2) += edge;
        return c;
    }

    /// Factorises the same; false where that is not positive definite (then the former factor stays).
    bool factorise(Real doubt, Real edge = 0) noexcept {
        const Matrix c = present(doubt, edge);
        const Eigen::LLT<Matrix> llt(c);
        if (llt.info() != Eigen::Success) return false;
        for (int j = 0; j < size_; ++j)
            for (int i = j; i < size_; ++i) factor_[triangle(i, j)] = llt.matrixLLT()(i, j);
        return true;
    }

    /// Solves C w = g over the first `length` places with the last factor.
    template <class Response>
    void solve(const Response& g, Window& w, int length) const noexcept {
        for (int i = 0; i < length; ++i) w[static_cast<std::size_t>(i)] = g[static_cast<std::size_t>(i)];
        whiten(w, length);
        for (int i = length - 1; i >= 0; --i) {
            Real value = w[static_cast<std::size_t>(i)];
            for (int k = i + 1; k < length; ++k) value -= factor_[triangle(k, i)] * w[static_cast<std::size_t>(k)];
            w[static_cast<std::size_t>(i)] = value / factor_[triangle(i, i)];
        }
        for (int i = length; i < size_; ++i) w[static_cast<std::size_t>(i)] = 0;
    }

    /// The same over the places from `from` to `length`.
    template <class Response>
    void solve(const Response& g, Window& w, int from, int length) const noexcept {
        if (from == 0) return solve(g, w, length);
        // What lies behind those that are absent has no leading factor: its covariance is factorised anew.
        const int count = length - from;
        Matrix factor = Matrix::Zero(length, length);
        for (int j = 0; j < length; ++j)
            for (int i = j; i < length; ++i) factor(i, j) = factor_[triangle(i, j)];
        const auto rows = factor.bottomRows(count);
        const Matrix c = rows.lazyProduct(rows.transpose());
        Eigen::Matrix<Real, Eigen::Dynamic, 1, Eigen::ColMajor, kMaxWindow, 1> x(count);
        for (int i = 0; i < count; ++i) x[i] = g[static_cast<std::size_t>(from + i)];
        Eigen::LLT<Matrix>(c).solveInPlace(x);
        w = Window{};
        for (int i = 0; i < count; ++i) w[static_cast<std::size_t>(from + i)] = x[i];
    }

    /// Right-hand sides side by side: one place of all of them is one step of the processor.
    static constexpr int kBeside = 8;
    using Block = std::array<std::array<Real, kBeside>, kMaxWindow>;

    /// Solves C w = g for each of them over the whole window, g in w; to the last bit as solve() does one.
    void solve(Block& w) const noexcept {
        // Each place is finished in registers before the next one is begun.
        for (int i = 0; i < size_; ++i) {
            auto value = w[static_cast<std::size_t>(i)];
            const Real* factor = factor_.data() + i;  // of row i, column by column
            for (int j = 0; j < i; ++j) {
                take_off(value, *factor, w[static_cast<std::size_t>(j)]);
                factor += size_ - j - 1;
            }
            for (Real& v : value) v /= *factor;
            w[static_cast<std::size_t>(i)] = value;
        }
        for (int i = size_ - 1; i >= 0; --i) {
            auto value = w[static_cast<std::size_t>(i)];
            const Real* column = factor_.data() + triangle(i, i);
            for (int k = i + 1; k < size_; ++k) take_off(value, column[k - i], w[static_cast<std::size_t>(k)]);
            for (Real& v : value) v /= column[0];
            w[static_cast<std::size_t>(i)] = value;
        }
    }

    /// Square of a whole window by the last factor (Mahalanobis): its size, on average, where it is usual.
    [[nodiscard]] Real square(const Window& x) const noexcept {
        Window w = x;
        whiten(w, size_);
        return dot(w, w);
    }

    /// More windows were seen than the prior counts for, several times over.
    [[nodiscard]] bool learned() const noexcept { return total_ > Real(4 * kPriorCount) * gain_; }
    [[nodiscard]] int size() const noexcept { return size_; }
    /// Variance of what windows hold along a direction, given by place, as last factorised.
    template <class Direction>
    [[nodiscard]] Real along(const Direction& direction) const noexcept {
        Real sum = 0;
        for (int j = 0; j < size_; ++j) {
            Real column = 0;
            for (int i = j; i < size_; ++i) column += factor_[triangle(i, j)] * direction(i);
            sum += column * column;
        }
        return sum;
    }
    /// Mean square of the second differences of the windows learned: where single edges are off, most of it is that.
    [[nodiscard]] Real bend() const noexcept { return size_ > 2 ? bent_ / (total_ * Real(size_ - 2)) : Real(0); }
    [[nodiscard]] Real variance(int i) const noexcept { return sum_[triangle(i, i)] / total_; }

  private:
    static constexpr std::size_t kTriangle = kMaxWindow * (kMaxWindow + 1) / 2;

    // Lower triangle, column by column, so that one column is contiguous.
    [[nodiscard]] std::size_t triangle(int i, int j) const noexcept {
        return static_cast<std::size_t>(j * size_ - j * (j - 1) / 2 + (i - j));
    }
    [[nodiscard]] Real& at(int i, int j) noexcept { return sum_[triangle(i, j)]; }

    /// Forward substitution: what is left of a usual window's first `length` places is independent, of variance one.
    void whiten(Window& w, int length) const noexcept {
        for (int j = 0; j < length; ++j) {
            const Real value = w[static_cast<std::size_t>(j)] / factor_[triangle(j, j)];
            w[static_cast<std::size_t>(j)] = value;
            for (int i = j + 1; i < length; ++i) w[static_cast<std::size_t>(i)] -= factor_[triangle(i, j)] * value;
        }
    }

    static void take_off(std::array<Real, kBeside>& from, Real factor, const std::array<Real, kBeside>& what) noexcept {
        for (std::size_t n = 0; n < kBeside; ++n) from[n] -= factor * what[n];
    }

    void add(const Window& x, Real scale) noexcept {
        bent_ += scale * square_bend(size_, [&x](std::size_t j) { return x[j]; });
        Real* column = sum_.data();
        for (int j = 0; j < size_; ++j) {
            const Real factor = scale * x[static_cast<std::size_t>(j)];
            const Real* from = x.data() + j;
            const int length = size_ - j;
            for (int i = 0; i < length; ++i) column[i] += factor * from[i];
            column += length;
        }
    }

    void rescale() noexcept {
        for (Real& value : sum_) value /= gain_;
        bent_ /= gain_;
        total_ /= gain_;
        gain_ = 1;
    }

    int size_ = 0;
    Real total_ = 0;
    Real gain_ = 1;
    Real bent_ = 0;  // sum of squared second differences, as sum_ is of products
    std::array<Real, kTriangle> sum_{};
    std::array<Real, kTriangle> factor_{};
};

}  // namespace kurbel
