// Channels with clocks of their own, brought onto the clock of the edges.
#pragma once

#include <vector>

#include "kurbel/core/types.hpp"

namespace kurbel::channel {

/// Samples of one quantity; times rise (equal ones are allowed: the later sample counts from there on). NaN = no value.
struct Series {
    std::vector<double> time_s;
    std::vector<double> value;
};

/// How a value between two samples is told.
enum class Between : unsigned char {
    hold = 0,   ///< the last one at or before that time: switches, states, and what a bus repeats when it changes
    linear = 1  ///< straight line between neighbours: pressures, speeds, temperatures
};

/// The value at `time_s`. NaN before the first sample; after the last: hold keeps it, linear answers NaN. A NaN sample makes
/// what leans on it NaN.
[[nodiscard]] double value_at(const Series& series, double time_s, Between between) noexcept;

/// `series` at each of `times_s` (rising); one pass.
[[nodiscard]] std::vector<double> resampled(const Series& series, const std::vector<double>& times_s, Between between);

/// How another clock reads against the reference: reference = offset_s + (1 + drift) * other.
struct ClockFit {
    double offset_s = kUnknown;
    double drift = kUnknown;
    double error_s = kUnknown;    ///< standard error of the offset in the middle of the record
    double agreement = kUnknown;  ///< correlation coefficient after the fit (speeds), share of pairs kept (events)
    [[nodiscard]] bool known() const noexcept { return offset_s == offset_s; }
    [[nodiscard]] double to_reference_s(double other_s) const noexcept { return offset_s + (1.0 + drift) * other_s; }
};

/// Limits of the fits.
struct ClockLimits {
    double most_offset_s = 10.0;   ///< searched on both sides
    double most_drift = 1e-3;      ///< crystals stay within 1e-4 (common practice, no source); logger ticks may not
    double step_s = 0.01;          ///< grid on which speeds are compared
    double least_agreement = 0.5;  ///< below it the answer is unknown
};

/// Offset and drift from the same event seen on both clocks (an injection pulse, a TDC mark), in order, `reference_s[i]` with
/// `other_s[i]`: a straight line by least squares, pairs beyond five robust standard deviations (1.4826 median absolute
/// deviations) left out, until none is. Unknown with fewer than 3 pairs; drift 0 where all lie within 1 s.
[[nodiscard]] ClockFit fit_events(const std::vector<double>& reference_s, const std::vector<double>& other_s);

/// Offset and drift from one quantity seen by both (crank speed and the bus's engine speed, say): both linear on a grid of
/// `step_s`, the normalised cross-correlation's highest peak gives the offset, a parabola its fraction; drift from the offsets of
/// up to eight pieces, each searched near the whole's, weighted by their correlation. Scale and level of the two may differ.
/// Unknown where correlation stays below `least_agreement`, where a second peak away from the first is nearly as high, or where
/// either stands still.
[[nodiscard]] ClockFit fit_speeds(const Series& reference, const Series& other, const ClockLimits& limits = {});

}  // namespace kurbel::channel
