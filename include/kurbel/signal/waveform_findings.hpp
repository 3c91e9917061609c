// What the edges of a waveform tell of its wiring, range and noise.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>

namespace kurbel::signal {

/// Follows the edges that were timed: noise around their slopes, how long these are, how far the middle wanders, and where the signal
/// vanished and came back.
class WaveformFindings {
  public:
    /// One edge, in samples of the signal.
    struct Timed {
        double sample = 0.0;
        bool rising = false;
        double noise = 0.0;          ///< variance of what the fit left, as that of one sample of the signal
        double slope_samples = 0.0;  ///< between the half heights
        double middle = 0.0;
        double tooth_samples = 0.0;  ///< typical distance of teeth
    };

    void rewind() noexcept {
        last_falling_ = -1.0;
        timed_ = 0;
        dropouts_ = 0;
        before_silence_ = 0.0;
    }

    void add(const Timed& edge) noexcept {
        ++timed_;
        const double memory = 1.0 / static_cast<double>(std::min<std::int64_t>(timed_, 256));
        residual_ += memory * (edge.noise - residual_);
        slope_samples_ += memory * (edge.slope_samples - slope_samples_);
        if (timed_ <= 32) lowest_middle_ = highest_middle_ = edge.middle;
        lowest_middle_ = std::min(lowest_middle_, edge.middle);
        highest_middle_ = std::max(highest_middle_, edge.middle);
        follow_silence(edge);
    }

    [[nodiscard]] std::int64_t timed() const noexcept { return timed_; }
    [[nodiscard]] std::int64_t dropouts() const noexcept { return dropouts_; }
    [[nodiscard]] double slope_samples() const noexcept { return slope_samples_; }
    /// Standard deviation of a sample, by what fits leave.
    [[nodiscard]] double noise() const noexcept { return std::sqrt(residual_); }
    /// How far the middle of the waves has wandered.
    [[nodiscard]] double drift() const noexcept { return highest_middle_ - lowest_middle_; }

  private:
    /// A silence of many teeth, and teeth as they were before behind it: a gap of the wheel comes back every turn.
    void follow_silence(const Timed& edge) noexcept {
        if (edge.rising) return;
        const double since = last_falling_ >= 0.0 ? edge.sample - last_falling_ : 0.0;
        last_falling_ = edge.sample;
        if (!(since > 0.0)) return;
        if (before_silence_ > 0.0) {
            if (since < 2.0 * before_silence_) ++dropouts_;
            before_silence_ = 0.0;
        } else if (timed_ > 16 && since > 8.0 * edge.tooth_samples) {
            before_silence_ = edge.tooth_samples;
        }
    }

    double last_falling_ = -1.0;  ///< sample of the last falling edge
    double residual_ = 0.0;
    double lowest_middle_ = 0.0;
    double highest_middle_ = 0.0;
    double before_silence_ = 0.0;  ///< tooth distance before a silence that is not yet explained
    double slope_samples_ = 0.0;
    std::int64_t timed_ = 0;
    std::int64_t dropouts_ = 0;
};

}  // namespace kurbel::signal
