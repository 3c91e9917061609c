#include "kurbel/channel/resample.hpp"

#include <algorithm>
#include <cmath>

namespace kurbel::channel {

namespace {

/// The value at `time_s`, where `next` is the first sample after it.
double value_before(const Series& series, std::size_t next, double time_s, Between between) noexcept {
    const std::size_t size = std::min(series.time_s.size(), series.value.size());
    if (next == 0 || size == 0) return kUnknown;
    const double before_s = series.time_s[next - 1];
    const double before = series.value[next - 1];
    if (between == Between::hold || !(time_s > before_s)) return before;
    if (next >= size) return kUnknown;
    return before + (series.value[next] - before) * (time_s - before_s) / (series.time_s[next] - before_s);
}

}  // namespace

double value_at(const Series& series, double time_s, Between between) noexcept {
    const auto size = static_cast<std::ptrdiff_t>(std::min(series.time_s.size(), series.value.size()));
    const auto next = std::upper_bound(series.time_s.begin(), series.time_s.begin() + size, time_s);
    return value_before(series, static_cast<std::size_t>(next - series.time_s.begin()), time_s, between);
}

std::vector<double> resampled(const Series& series, const std::vector<double>& times_s, Between between) {
    const std::size_t size = std::min(series.time_s.size(), series.value.size());
    std::vector<double> values;
    values.reserve(times_s.size());
    std::size_t next = 0;
    for (const double time_s : times_s) {
        while (next < size && series.time_s[next] <= time_s) ++next;
        values.push_back(value_before(series, next, time_s, between));
    }
    return values;
}

}  // namespace kurbel::channel
