// How far edges are off where the engine runs just now, against what they were off by where windows were learned.
#pragma once

#include <algorithm>
#include <cstddef>

#include "kurbel/stage/response_bank.hpp"
#include "kurbel/stage/window_covariance.hpp"

namespace kurbel {

/// The measurement noise of windows. An edge that comes late by some angle changes the energy of two bins by a share of the energy, so
/// in shares of a firing's work it weighs with speed squared over that work: twenty times as much at 5000 rpm with the pedal up as
/// where the covariance was learned. What combustion and driveline do is slow beside it; second differences show it.
class EdgeNoise {
  public:
    void begin() noexcept { *this = EdgeNoise{}; }

    /// Takes the window x of a firing of which a response of this amplitude is taken out. `energy_per_work`: kinetic energy over the
    /// firing's expected work.
    void learn(const Window& x, const ResponseBank::Response& response, float amplitude, int length,
               float energy_per_work) noexcept {
        if (length < 3) return;
        const float sum = square_bend(length, [&](std::size_t j) { return x[j] - amplitude * response[j]; });
        const float level = sum / (static_cast<float>(length - 2) * energy_per_work * energy_per_work);
        // One window may hold a lost edge, or a misfire of a kind not seen before.
        const float bounded = level_ > 0.0F ? std::min(level, kMostRise * level_) : level;
        seen_ = std::min(seen_ + 1.0F, kWindows);
        level_ += (bounded - level_) / seen_;
    }

    /// Variance of one edge's error, as it stands in a difference of energies over work, beyond what `usual` (mean square of
    /// second differences of the windows that were learned) holds; 0 or more.
    [[nodiscard]] float excess(float energy_per_work, float usual) const noexcept {
        if (seen_ < kWindows) return 0.0F;
        return std::max(0.0F, level_ * energy_per_work * energy_per_work - usual) / kSquares;
    }

    /// One edge's excess that windows are matched with.
    [[nodiscard]] float matched() const noexcept { return matched_; }
    void match(float excess) noexcept { matched_ = excess; }

    /// Whether noise of `excess` is to be told from what windows are matched with.
    [[nodiscard]] bool moved(float excess, float usual) const noexcept {
        return std::max(excess, matched_) - std::min(excess, matched_) >
               kClearly * (usual / kSquares + std::min(excess, matched_));
    }

  private:
    // An edge's error enters energy differences as 1, -2, 1, and their second differences as 1, -4, 6, -4, 1.
    static constexpr float kSquares = 70.0F;
    static constexpr float kWindows = 8.0F;  // some 150 second differences tell a variance to 12 %
    static constexpr float kMostRise = 4.0F;
    static constexpr float kClearly = 0.4F;

    float level_ = 0;  // mean square of second differences over energy squared
    float seen_ = 0;
    float matched_ = 0;
};

}  // namespace kurbel
