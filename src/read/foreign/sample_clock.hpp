// When samples were taken: by the rate, or by a column of times, which may be coarse but must be even.
#pragma once

#include <cstdint>
#include <vector>

#include "read/foreign/table.hpp"

namespace kurbel::read {

/// The straight line from sample numbers to ticks. A column of times is trusted for rate and beginning, not for single samples: its
/// digits are often too few. The slope is that of the least squares in the first rows, then between means of rows ever farther apart.
class SampleClock {
  public:
    /// The rate is known; times then tell of the beginning alone. Call before any rows are seen.
    void tell_rate(double rate_hz) noexcept {
        rate_hz_ = rate_hz;
        told_ = true;
    }

    /// Looks at the times of the next rows. Throws (table.fail) where they jump: the samples are not even then.
    void see(const std::vector<std::int64_t>& ticks, const Table& table);

    /// `hz`: ticks a second. Call after the first rows were seen.
    void start(double hz, const Table& table);

    [[nodiscard]] double rate_hz() const noexcept { return rate_hz_; }
    /// The tick of a place between samples, counted from sample 0.
    [[nodiscard]] std::int64_t tick(double sample) const noexcept;

  private:
    void fit_first(const std::vector<std::int64_t>& ticks, const Table& table);
    void check(const std::vector<std::int64_t>& ticks, const Table& table) const;

    std::int64_t origin_ = 0;    ///< tick of row 0
    double first_sample_ = 0.0;  ///< mean sample number of the first rows
    double first_tick_ = 0.0;    ///< their mean tick after the origin
    double step_ = 0.0;          ///< ticks a sample
    double tolerance_ = 0.0;
    double rows_ = 0.0;
    double rate_hz_ = 0.0;
    bool told_ = false;
};

}  // namespace kurbel::read
