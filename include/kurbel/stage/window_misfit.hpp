// How much of a window neither health nor misfire explains.
#pragma once

#include <algorithm>
#include <cstddef>

#include "kurbel/stage/response_bank.hpp"
#include "kurbel/stage/window_covariance.hpp"

namespace kurbel {

/// Mean square of what is left of a window, over the usual variance of each bin: 1 is usual.
class WindowMisfit {
  public:
    /// `size`: bins of a window; `edge`: variance of a single edge's error that the covariance does not hold.
    void follow(const WindowCovariance& covariance, int size, float edge = 0.0F) noexcept {
        for (int j = 0; j < size; ++j)
            inverse_variance_[static_cast<std::size_t>(j)] =
                1.0F / std::max(covariance.variance(j) + 6.0F * edge, 1e-9F);
    }

    /// Of the first `length` bins of window x, of which a response of this amplitude is taken out.
    [[nodiscard]] float of(const Window& x, const ResponseBank::Response& response, float amplitude,
                           int length) const noexcept {
        const float sum = sum_of_first(length, [&](std::size_t j) {
            const float left = x[j] - amplitude * response[j];
            return left * left * inverse_variance_[j];
        });
        return sum / static_cast<float>(length);
    }

  private:
    Window inverse_variance_{};
};

}  // namespace kurbel
