// Offset and drift between two clocks.
#include <algorithm>
#include <cmath>
#include <numeric>
#include <optional>

#include "kurbel/channel/resample.hpp"

namespace kurbel::channel {

namespace {

/// Weighted straight line y = level + slope (x - middle).
struct Line {
    double middle = 0.0;
    double level = 0.0;
    double slope = 0.0;
    double error = kUnknown;  ///< standard error of the level
};

Line fit_line(const std::vector<double>& x, const std::vector<double>& y, const std::vector<double>& weight,
              bool flat) {
    Line line;
    double sum = 0.0;
    for (std::size_t i = 0; i < x.size(); ++i) {
        sum += weight[i];
        line.middle += weight[i] * x[i];
        line.level += weight[i] * y[i];
    }
    line.middle /= sum;
    line.level /= sum;
    double xx = 0.0;
    double xy = 0.0;
    for (std::size_t i = 0; i < x.size(); ++i) {
        xx += weight[i] * (x[i] - line.middle) * (x[i] - line.middle);
        xy += weight[i] * (x[i] - line.middle) * (y[i] - line.level);
    }
    if (!flat && xx > 0.0) line.slope = xy / xx;
    double square = 0.0;
    for (std::size_t i = 0; i < x.size(); ++i) {
        const double rest = y[i] - line.level - line.slope * (x[i] - line.middle);
        square += weight[i] * rest * rest;
    }
    const double freedom = static_cast<double>(x.size()) - (flat ? 1.0 : 2.0);
    if (freedom > 0.0) line.error = std::sqrt(square / sum / freedom);
    return line;
}

double median(std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

}  // namespace

ClockFit fit_events(const std::vector<double>& reference_s, const std::vector<double>& other_s) {
    ClockFit fit;
    std::vector<double> x;
    std::vector<double> y;
    for (std::size_t i = 0; i < std::min(reference_s.size(), other_s.size()); ++i)
        if (std::isfinite(reference_s[i]) && std::isfinite(other_s[i])) {
            x.push_back(other_s[i]);
            y.push_back(reference_s[i] - other_s[i]);
        }
    const std::size_t all = x.size();
    constexpr std::size_t kFewest = 3;
    constexpr double kOutlier = 5.0 * 1.4826;
    Line line;
    while (x.size() >= kFewest) {
        const auto [low, high] = std::minmax_element(x.begin(), x.end());
        line = fit_line(x, y, std::vector<double>(x.size(), 1.0), *high - *low < 1.0);
        std::vector<double> rest(x.size());
        for (std::size_t i = 0; i < x.size(); ++i)
            rest[i] = std::fabs(y[i] - line.level - line.slope * (x[i] - line.middle));
        const double limit = kOutlier * median(rest);
        const auto worst = std::max_element(rest.begin(), rest.end());
        if (!(*worst > limit) || !(*worst > 1e-9)) {  // below a nanosecond nothing is an outlier
            fit.drift = line.slope;
            fit.offset_s = line.level - line.slope * line.middle;
            fit.error_s = line.error;
            fit.agreement = static_cast<double>(x.size()) / static_cast<double>(all);
            return fit;
        }
        x.erase(x.begin() + (worst - rest.begin()));
        y.erase(y.begin() + (worst - rest.begin()));
    }
    return fit;
}

namespace {

/// Both quantities on one grid; NaN where there is none.
struct Pair {
    double start_s = 0.0;
    double step_s = 0.01;
    std::vector<double> reference;
    std::vector<double> other;  ///< begins at start_s of its own clock
};

struct Peak {
    double lag = 0.0;  ///< steps by which the reference reads later
    double height = -1.0;
    double second = -1.0;  ///< highest beyond the first peak's foot
};

/// Correlation coefficient of reference[i + lag] with other[i], i in [begin, end); NaN where under half of it overlaps.
double correlation(const Pair& pair, std::ptrdiff_t lag, std::ptrdiff_t begin, std::ptrdiff_t end) {
    double n = 0.0, a = 0.0, b = 0.0, aa = 0.0, bb = 0.0, ab = 0.0;
    const auto size = static_cast<std::ptrdiff_t>(pair.reference.size());
    for (std::ptrdiff_t i = std::max(begin, -lag); i < std::min(end, size - lag); ++i) {
        const double r = pair.reference[static_cast<std::size_t>(i + lag)];
        const double o = pair.other[static_cast<std::size_t>(i)];
        if (std::isnan(r) || std::isnan(o)) continue;
        n += 1.0;
        a += r;
        b += o;
        aa += r * r;
        bb += o * o;
        ab += r * o;
    }
    if (n < 0.5 * static_cast<double>(end - begin) || n < 8.0) return kUnknown;
    const double va = aa - a * a / n;
    const double vb = bb - b * b / n;
    // What stands still to nine digits has no shape.
    if (!(va > 1e-18 * aa) || !(vb > 1e-18 * bb)) return kUnknown;
    return (ab - a * b / n) / std::sqrt(va * vb);
}

std::optional<Peak> find_peak(const Pair& pair, std::ptrdiff_t middle, std::ptrdiff_t reach, std::ptrdiff_t begin,
                              std::ptrdiff_t end) {
    std::vector<double> height;
    for (std::ptrdiff_t lag = middle - reach; lag <= middle + reach; ++lag)
        height.push_back(correlation(pair, lag, begin, end));
    Peak peak;
    std::size_t best = 0;
    for (std::size_t i = 0; i < height.size(); ++i)
        if (height[i] > peak.height) {
            peak.height = height[i];
            best = i;
        }
    if (best == 0 || best + 1 >= height.size()) return {};
    const double left = height[best - 1];
    const double right = height[best + 1];
    const double bend = left - 2.0 * peak.height + right;
    if (!(bend < 0.0)) return {};
    peak.lag = static_cast<double>(middle - reach + static_cast<std::ptrdiff_t>(best)) + 0.5 * (left - right) / bend;
    // A peak that rises from a valley of its own is another story, not the first one's flank.
    for (const int way : {-1, 1}) {
        double valley = peak.height;
        for (auto i = static_cast<std::ptrdiff_t>(best); i >= 0 && i < static_cast<std::ptrdiff_t>(height.size());
             i += way) {
            const double here = height[static_cast<std::size_t>(i)];
            if (std::isnan(here)) continue;
            valley = std::min(valley, here);
            constexpr double kValley = 0.02;
            if (here > valley + kValley) peak.second = std::max(peak.second, here);
        }
    }
    return peak;
}

Pair on_one_grid(const Series& reference, const Series& other, double step_s) {
    Pair pair;
    pair.step_s = step_s;
    pair.start_s = std::min(reference.time_s.front(), other.time_s.front());
    const double end_s = std::max(reference.time_s.back(), other.time_s.back());
    std::vector<double> grid;
    for (double i = 0.0; pair.start_s + i * step_s <= end_s; i += 1.0) grid.push_back(pair.start_s + i * step_s);
    pair.reference = resampled(reference, grid, Between::linear);
    pair.other = resampled(other, grid, Between::linear);
    return pair;
}

}  // namespace

ClockFit fit_speeds(const Series& reference, const Series& other, const ClockLimits& limits) {
    ClockFit fit;
    constexpr double kMostSteps = 2e6;
    if (reference.time_s.size() < 8 || other.time_s.size() < 8 || !(limits.step_s > 0.0)) return fit;
    const double span_s = std::max(reference.time_s.back(), other.time_s.back()) -
                          std::min(reference.time_s.front(), other.time_s.front());
    if (!(span_s / limits.step_s < kMostSteps)) return fit;
    // A coarse grid finds the peak, the fine one its place.
    const double coarse_s = std::max(limits.step_s, limits.most_offset_s / 400.0);
    const Pair coarse = on_one_grid(reference, other, coarse_s);
    const auto whole = static_cast<std::ptrdiff_t>(coarse.other.size());
    const auto reach = static_cast<std::ptrdiff_t>(std::ceil(limits.most_offset_s / coarse_s)) + 1;
    // The other clock's own stretch, so that a short one inside a long reference is compared over all of it.
    const auto step_of = [&](double time_s) {
        return static_cast<std::ptrdiff_t>((time_s - coarse.start_s) / coarse_s);
    };
    const auto peak =
        find_peak(coarse, 0, reach, step_of(other.time_s.front()), std::min(whole, step_of(other.time_s.back()) + 1));
    constexpr double kRival = 0.97;
    if (!peak || peak->height < limits.least_agreement || peak->second > kRival * peak->height) return fit;
    const Pair fine = on_one_grid(reference, other, limits.step_s);
    const double scale = coarse_s / limits.step_s;
    const auto middle = static_cast<std::ptrdiff_t>(std::lround(peak->lag * scale));
    const auto begin = static_cast<std::ptrdiff_t>((other.time_s.front() - fine.start_s) / limits.step_s);
    const auto end = std::min(static_cast<std::ptrdiff_t>(fine.other.size()),
                              static_cast<std::ptrdiff_t>((other.time_s.back() - fine.start_s) / limits.step_s) + 1);
    const double drift_steps = limits.most_drift * static_cast<double>(end - begin);
    const auto near = static_cast<std::ptrdiff_t>(std::ceil(2.0 * scale + drift_steps)) + 2;
    std::vector<double> x, y, weight;
    constexpr std::ptrdiff_t kPieces = 8;
    for (std::ptrdiff_t piece = 0; piece < kPieces; ++piece) {
        const std::ptrdiff_t from = begin + (end - begin) * piece / kPieces;
        const std::ptrdiff_t to = begin + (end - begin) * (piece + 1) / kPieces;
        const auto found = find_peak(fine, middle, near, from, to);
        if (!found || found->height < limits.least_agreement) continue;
        x.push_back(fine.start_s + 0.5 * static_cast<double>(from + to) * limits.step_s);
        y.push_back(found->lag * limits.step_s);
        // Variance of a delay goes with (1 - r^2) / r^2 (Knapp and Carter 1976 by coherence; from memory).
        weight.push_back(found->height * found->height / (1.0 - std::min(0.9999, found->height * found->height)));
    }
    if (x.size() < 3) {
        const auto found = find_peak(fine, middle, near, begin, end);
        if (!found) return fit;
        fit.offset_s = found->lag * limits.step_s;
        fit.drift = 0.0;
        fit.agreement = found->height;
        return fit;
    }
    const Line line = fit_line(x, y, weight, false);
    fit.drift = std::clamp(line.slope, -limits.most_drift, limits.most_drift);
    fit.offset_s = line.level - fit.drift * line.middle;
    fit.error_s = line.error;
    fit.agreement = peak->height;
    return fit;
}

}  // namespace kurbel::channel
