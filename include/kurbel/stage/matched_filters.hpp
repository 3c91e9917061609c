// The weights by which responses are found in windows: what each firing lost, and how much each kind of response explains of it.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/response_kinds.hpp"
#include "kurbel/stage/window.hpp"
#include "kurbel/stage/window_covariance.hpp"

namespace kurbel {

/// Generalised least squares (Gauss and Markov; any textbook on statistics): for windows that scatter by covariance C, the weights of a response
/// g are C^-1 g, its amplitude in window x is g'C^-1 x over the precision g'C^-1 g, the inverse of the amplitude's variance. One set of
/// weights for the response in use of each place, one for each kind of response that might be the right one.
class MatchedFilters {
  public:
    using Real = float;
    using Response = ResponseKinds::Response;
    using Gains = std::array<Real, ResponseKinds::kHypotheses>;

    /// Amplitude of a response in a window (0 healthy, 1 all work lost), and the inverse of its variance over healthy firings.
    struct Match {
        Real amplitude;
        Real precision;
    };

    /// Recomputes all from the responses of the first `places` places and from the kinds.
    template <class Responses>
    void match(const Responses& responses, int places, const ResponseKinds& kinds,
               const WindowCovariance& covariance) noexcept {
        match_places(responses, places, kinds.size(), covariance);
        std::array<Response, ResponseKinds::kSprung> swinging;
        std::array<const Response*, ResponseKinds::kAlternatives> added{};
        Rows rows;
        rows.add(kinds.rigid(0).data(), rigid_weight_);
        for (int h = 1; h <= kinds.active(); ++h) {
            const auto kind = static_cast<std::size_t>(h - 1);
            added[kind] = &added_of(h, kinds, swinging);
            rows.add(added[kind]->data(), added_weight_[kind]);
        }
        solve_all(rows, covariance);
        rigid_precision_ = dot(kinds.rigid(0), rigid_weight_);
        for (int h = 1; h <= kinds.active(); ++h) {
            const auto kind = static_cast<std::size_t>(h - 1);
            added_precision_[kind] = dot(added_weight_[kind], *added[kind]);
            cross_[kind] = dot(added_weight_[kind], kinds.rigid(0));
        }
    }

    /// The same of the places alone: what the kinds add is as it was.
    template <class Responses>
    void match_places(const Responses& responses, int places, int size, const WindowCovariance& covariance) noexcept {
        size_ = size;
        Rows rows;
        for (int k = 0; k < places; ++k)
            rows.add(responses[static_cast<std::size_t>(k)].data(), weight_[static_cast<std::size_t>(k)]);
        solve_all(rows, covariance);
        for (int k = 0; k < places; ++k) {
            const auto place = static_cast<std::size_t>(k);
            precision_[place] = dot(weight_[place], responses[place]);
        }
    }

    [[nodiscard]] Match whole(int k, const Window& x) const noexcept {
        return {dot(weight(k), x) / precision(k), precision(k)};
    }

    /// Inverse variance of place k's amplitude over healthy firings.
    [[nodiscard]] Real precision(int k) const noexcept { return precision_[static_cast<std::size_t>(k)]; }

    /// Part of a response of `length` bins, `shift` bins later than place k's, that place k's weights pick up, per unit amplitude.
    [[nodiscard]] Real leak(int k, const Response& from, int length, int shift) const noexcept {
        const int begin = std::max(0, shift);
        const int end = std::min(size_, length + shift);
        Real sum = 0;
        for (int j = begin; j < end; ++j)
            sum += weight(k)[static_cast<std::size_t>(j)] * from[static_cast<std::size_t>(j - shift)];
        return sum / precision(k);
    }

    /// What a constant of one in the whole window adds to place k's amplitude.
    [[nodiscard]] Real level(int k) const noexcept { return sum_of(weight(k)) / precision(k); }

    /// What a slope from minus one to one over the window adds to it.
    [[nodiscard]] Real tilt(int k) const noexcept {
        Real sum = 0;
        for (int j = 0; j < size_; ++j)
            sum += weight(k)[static_cast<std::size_t>(j)] *
                   (Real(2) * static_cast<Real>(j) / static_cast<Real>(size_ - 1) - Real(1));
        return sum / precision(k);
    }

    /// What errors of single edges, of variance one in a difference of energies, add to the variance of place k's amplitude.
    [[nodiscard]] Real edge_variance(int k) const noexcept {
        const Window& w = weight(k);
        const auto square = [](Real x) { return x * x; };
        // The bends within the window, and those at both ends, where what is outside has no weight.
        const Real first = w[0];
        const Real last = w[static_cast<std::size_t>(size_ - 1)];
        const Real sum = square_bend(size_, [&w](std::size_t j) { return w[j]; }) + square(first) +
                         square(w[1] - Real(2) * first) +
                         square(w[static_cast<std::size_t>(std::max(size_ - 2, 0))] - Real(2) * last) + square(last);
        return sum / (precision(k) * precision(k));
    }

    /// Log-likelihood gains of "work lost" over "healthy" in the window of place k under each hypothesis in use.
    void gains(int k, const Window& x, const ResponseKinds& kinds, Gains& gain) const noexcept {
        const Real rigid = dot(rigid_weight_, x);
        gain[0] = gain_at(rigid, rigid_precision_);
        for (int h = 1; h <= kinds.active(); ++h) {
            const auto kind = static_cast<std::size_t>(h - 1);
            const Real share = kinds.gain_of(h, k);
            const Real precision =
                rigid_precision_ + Real(2) * share * cross_[kind] + share * share * added_precision_[kind];
            gain[static_cast<std::size_t>(h)] = gain_at(rigid + share * dot(added_weight_[kind], x), precision);
        }
    }

    /// How little healthy windows vary along what a hypothesis adds.
    [[nodiscard]] Real stiffness(int hypothesis, const ResponseKinds& kinds) const noexcept {
        const Response& added = kinds.added(hypothesis);
        return added_precision_[static_cast<std::size_t>(hypothesis - 1)] /
               std::max(dot(head_of(added, size_), added), Real(1e-12));
    }

  private:
    static constexpr std::size_t kBeside = WindowCovariance::kBeside;

    [[nodiscard]] const Window& weight(int k) const noexcept { return weight_[static_cast<std::size_t>(k)]; }

    /// Gain of a loss of the likeliest size: the expected work is known to a third.
    [[nodiscard]] static Real gain_at(Real match, Real precision) noexcept {
        const Real size = std::clamp(match / precision, Real(0.6), Real(1.4));
        return size * match - Real(0.5) * size * size * precision;
    }

    /// Responses, and where their weights are to stand.
    struct Rows {
        static constexpr std::size_t kMost =
            static_cast<std::size_t>(std::max(kMaxCylinders, ResponseKinds::kHypotheses));
        void add(const Real* response, Window& weight) noexcept {
            from[count] = response;
            to[count++] = weight.data();
        }
        std::array<const Real*, kMost> from{};
        std::array<Real*, kMost> to{};
        std::size_t count = 0;
    };

    /// What a hypothesis adds, in the window; made in `swinging` where it is not kept.
    template <class Swinging>
    [[nodiscard]] const Response& added_of(int hypothesis, const ResponseKinds& kinds,
                                           Swinging& swinging) const noexcept {
        if (!ResponseKinds::is_sprung(hypothesis)) return kinds.added(hypothesis);
        Response& made = swinging[static_cast<std::size_t>(hypothesis - 1 - ResponseKinds::kLate)];
        made = kinds.added_by(hypothesis, size_);
        return made;
    }

    /// Weights of responses, several at a time.
    void solve_all(const Rows& rows, const WindowCovariance& covariance) const noexcept {
        WindowCovariance::Block block{};
        for (std::size_t first = 0; first < rows.count; first += kBeside) {
            const std::size_t beside = std::min(kBeside, rows.count - first);
            for (std::size_t j = 0; j < static_cast<std::size_t>(size_); ++j)
                for (std::size_t n = 0; n < beside; ++n) block[j][n] = rows.from[first + n][j];
            covariance.solve(block);
            for (std::size_t j = 0; j < static_cast<std::size_t>(size_); ++j)
                for (std::size_t n = 0; n < beside; ++n) rows.to[first + n][j] = block[j][n];
        }
    }

    int size_ = 0;  ///< bins of a window
    Real rigid_precision_ = 0;
    std::array<Real, kMaxCylinders> precision_{};
    std::array<Window, kMaxCylinders> weight_{};
    Window rigid_weight_{};
    std::array<Real, ResponseKinds::kAlternatives> added_precision_{};
    std::array<Real, ResponseKinds::kAlternatives> cross_{};  ///< of what is added and the rigid crank
    std::array<Window, ResponseKinds::kAlternatives> added_weight_{};
};

}  // namespace kurbel
