// The next measurement that would separate causes: what to record, and how long, from the counts.
#include <algorithm>
#include <cmath>

#include "study/pattern_rows.hpp"
#include "text/text.hpp"

namespace kurbel::study {

namespace {

using text::format;

constexpr double kRound_s = 10.0;
constexpr double kLongest_s = 1800.0;  // beyond half an hour nobody records: other means come first

/// Firings on each side by which a rate and half of it are told apart with 80 % chance at 5 % (two-sided): the sample size of two
/// proportions (Fleiss, Statistical Methods for Rates and Proportions, 2nd ed. 1981, without its correction; from memory), times
/// the dispersion.
double firings_to_halve(double rate, double dispersion) {
    constexpr double kSides = 1.959963984540054;  // 97.5 % of the normal distribution
    constexpr double kPower = 0.841621233572914;  // 80 %
    const double other = 0.5 * rate;
    const double mean = 0.5 * (rate + other);
    const double root =
        kSides * std::sqrt(2.0 * mean * (1.0 - mean)) + kPower * std::sqrt(rate * (1.0 - rate) + other * (1.0 - other));
    return dispersion * root * root / ((rate - other) * (rate - other));
}

std::string minutes(double seconds) {
    if (seconds < 120.0) return format("%.0f s", seconds);
    return format("%.0f minutes", std::ceil(seconds / 60.0));
}

/// Seconds in which one cylinder fires that often at `rpm`.
double seconds_for(double firings, double rpm, int strokes) {
    const double seconds = firings * (strokes == 2 ? 60.0 : 120.0) / rpm;
    return std::ceil(seconds / kRound_s) * kRound_s;
}

const ConditionEffect& effect_of(const PatternRow& row, Condition condition) {
    return row.conditions[static_cast<std::size_t>(condition)];
}

void unvaried(const Pattern& pattern, const PatternRow& row, std::vector<NextMeasurement>& next) {
    const bool speed = effect_of(row, Condition::speed).varied;
    const bool load = effect_of(row, Condition::load).varied;
    if (speed && load) return;
    const double seconds =
        std::max(seconds_for(firings_to_halve(row.rate(), row.dispersion), pattern.mean_rpm, pattern.strokes), 30.0);
    if (seconds > kLongest_s) return;
    const std::string each = minutes(seconds);
    NextMeasurement measure;
    measure.seconds = seconds;
    if (!load && !speed)
        measure.what =
            "Record " + each +
            " at each of: idle, about 1500 rpm more without load, and a pull under load "
            "(second person driving, or on a roller test bench); then run pattern over all recordings together";
    else if (!load)
        measure.what = "Record " + each +
                       " at each of light and heavy load at one speed (two gears or slopes; second person "
                       "driving, or on a roller test bench); then run pattern over all recordings together";
    else
        measure.what = "Record " + each +
                       " at each of two speeds at least 1000 rpm apart with the same load; then run "
                       "pattern over all recordings together";
    if (!effect_of(row, Condition::load).known)
        measure.what += "; load was not measured: add the load channel (manifold pressure over barometric will do)";
    measure.why = format(
        "tells a doubled or halved rate with 80 %% chance, and so ignition (rises with load) from mixture "
        "(falls with load) from mechanical causes (much the same everywhere)");
    next.push_back(measure);
}

void moved_together(const PatternRow& row, std::vector<NextMeasurement>& next) {
    const ConditionEffect& speed = effect_of(row, Condition::speed);
    const ConditionEffect& load = effect_of(row, Condition::load);
    if (!speed.matters() || !load.matters() || speed.p_alone <= kStill || load.p_alone <= kStill) return;
    next.push_back({"Record the same load at two speeds and the same speed at two loads (one gear lower, a slope)",
                    "speed and load rose and fell together in what was recorded, so that either could be the cause",
                    kUnknown});
}

void too_few(const Pattern& pattern, const PatternRow& row, std::vector<NextMeasurement>& next) {
    if (row.kind != PatternKind::undecided || row.misfires == 0) return;
    const double seconds =
        pattern.judged_s * static_cast<double>(row.misfires_needed - row.misfires) / static_cast<double>(row.misfires);
    if (!(seconds > 0.0)) return;
    const double rounded = std::ceil(seconds / kRound_s) * kRound_s;
    if (rounded <= kLongest_s)
        next.push_back({"Record " + minutes(rounded) + " more under the same conditions",
                        "about " + std::to_string(row.misfires_needed) +
                            " misfires of this cylinder are needed to tell bursts from chance",
                        rounded});
    else
        next.push_back({"Wait for conditions in which it misfires more often, then record again",
                        "at this rate it would take " + minutes(rounded) + " to see enough misfires", rounded});
}

}  // namespace

std::vector<NextMeasurement> next_measurements(const Pattern& pattern) {
    std::vector<NextMeasurement> next;
    if (pattern.worst < 0) return next;
    const PatternRow& row = pattern.rows[static_cast<std::size_t>(pattern.worst)];
    if (row.kind == PatternKind::none) return next;
    too_few(pattern, row, next);
    if (row.kind == PatternKind::continuous)
        next.push_back({"Record the engine being cranked, fuel and ignition disabled (kurbel cranking)",
                        "tells a cylinder without compression from one without spark or fuel", kUnknown});
    moved_together(row, next);
    if (row.misfires >= 5 && row.kind != PatternKind::continuous && pattern.mean_rpm > 0.0)
        unvaried(pattern, row, next);
    if (row.cylinder > 0 || row.candidates[0] > 0)
        next.push_back(
            {"Exchange one part of that cylinder with another one's, and record again as before (kurbel swap)",
             "tells the part from the cylinder; a pattern alone does not", kUnknown});
    return next;
}

}  // namespace kurbel::study
