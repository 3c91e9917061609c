// At random, in bursts, at a steady distance or all the time.
#include <algorithm>
#include <cmath>

#include "study/pattern_rows.hpp"

namespace kurbel::study {

namespace {

constexpr double kError = 0.01;      // of calling a row bursty or periodic, over all rows
constexpr double kPower = 0.8;       // with which bursts would have been seen, for "random" to be said
constexpr double kContinuous = 0.9;  // rate beyond which healthy firings are the exception

/// Stretches with their counts, for the runs test.
std::vector<Stretch> stretches_of(const Outcomes& outcomes) {
    std::vector<Stretch> stretches;
    for (std::size_t i = 0; i < outcomes.size(); ++i) {
        const bool begins = i == 0 || outcomes.stretch[i] != outcomes.stretch[i - 1];
        if (begins) stretches.push_back({});
        Stretch& stretch = stretches.back();
        ++(outcomes.misfire[i] ? stretch.ones : stretch.zeros);
        stretch.runs += begins || outcomes.misfire[i] != outcomes.misfire[i - 1] ? 1 : 0;
    }
    return stretches;
}

std::int64_t bursts_in(const Outcomes& outcomes) {
    std::int64_t bursts = 0;
    for (std::size_t i = 0; i < outcomes.size(); ++i)
        bursts += outcomes.misfire[i] &&
                  (i == 0 || !outcomes.misfire[i - 1] || outcomes.stretch[i] != outcomes.stretch[i - 1]);
    return bursts;
}

/// Odds of a misfire right after a misfire, over those after a healthy firing.
double odds_ratio(const Outcomes& outcomes) {
    double table[2][2] = {{0.5, 0.5},
                          {0.5, 0.5}};  // half a count each keeps it finite (Haldane, Ann. Hum. Genet. 1956)
    for (std::size_t i = 1; i < outcomes.size(); ++i)
        if (outcomes.stretch[i] == outcomes.stretch[i - 1]) table[outcomes.misfire[i - 1]][outcomes.misfire[i]] += 1.0;
    return table[1][1] * table[0][0] / (table[1][0] * table[0][1]);
}

/// Chance of `most` or fewer successes.
double binomial_at_most(std::int64_t most, std::int64_t trials, double chance) {
    if (most < 0) return 0.0;
    if (most >= trials) return 1.0;
    return 1.0 - incomplete_beta(static_cast<double>(most) + 1.0, static_cast<double>(trials - most), chance);
}

/// Chance that bursts would show among `misfires`: where every second one brings another at once, over what chance brings.
double power_for_bursts(std::int64_t misfires, double rate, double error) {
    if (misfires < 2) return 0.0;
    const double expected = static_cast<double>(misfires) * rate;
    std::int64_t limit = 1;
    while (limit <= misfires && poisson_at_least(limit, expected) > error) ++limit;
    return 1.0 - binomial_at_most(limit - 1, misfires - 1, rate + 0.5 * (1.0 - rate));
}

std::int64_t misfires_for_power(double rate, double error) {
    constexpr std::int64_t kMost = 100000;
    std::int64_t needed = 2;
    while (needed < kMost && power_for_bursts(needed, rate, error) < kPower) needed += 1 + needed / 20;
    return needed;
}

/// Variance of counts over that of independent firings: 1 + 2 sum of correlations up to where they sink into their noise
/// (the idea of the initial positive sequence, Geyer, Stat. Sci. 7:473-483, 1992).
double dispersion_of(const std::vector<Outcome01>& row) {
    const double noise = 2.0 / std::sqrt(static_cast<double>(std::max<std::size_t>(row.size(), 1)));
    double sum = 1.0;
    for (int lag = 1; lag < static_cast<int>(row.size()) / 4; ++lag) {
        const Coincidences here = coincidences(row, lag);
        if (!(here.correlation > noise)) break;
        sum += 2.0 * here.correlation;
    }
    return sum;
}

/// The shortest distance at which misfires follow one another, if it is a period and not the tail of a burst. (Its multiples show
/// as much.)
void find_period(PatternRow& row, const std::vector<Outcome01>& outcomes, double error) {
    constexpr int kLongest = 200;
    const int longest = std::min(static_cast<int>(outcomes.size()) / 4, kLongest);
    double shorter = 0.0;  // largest excess at shorter distances
    for (int lag = 1; lag <= longest; ++lag) {
        const Coincidences here = coincidences(outcomes, lag);
        const double excess = static_cast<double>(here.both) - here.expected;
        const double p = std::min(here.more * static_cast<double>(longest), 1.0);
        const double share =
            here.followed > 0 ? static_cast<double>(here.both) / static_cast<double>(here.followed) : 0.0;
        if (lag > 1 && !(p >= row.p_periodic)) {
            row.p_periodic = p;
            row.period_share = share;
        }
        if (lag > 1 && p <= error && share >= 0.5 && excess > 2.0 * shorter) {
            row.period = lag;
            return;
        }
        shorter = std::max(shorter, excess);
    }
}

}  // namespace

void tell_kind(PatternRow& row, const Outcomes& outcomes, const std::vector<double>& chance, double false_alarm,
               int rows_tested) {
    std::vector<Outcome01> marked(outcomes.size());
    for (std::size_t i = 0; i < marked.size(); ++i) marked[i] = {outcomes.misfire[i], outcomes.stretch[i], chance[i]};
    row.dispersion = dispersion_of(marked);
    const double error = kError / std::max(rows_tested, 1);
    const double by_alarm = row.misfires == 0 ? 1.0 : 1.0 - binomial_at_most(row.misfires - 1, row.judged, false_alarm);
    if (by_alarm > error) {
        row.kind = PatternKind::none;
        return;
    }
    row.runs = runs_test(stretches_of(outcomes));
    row.mean_burst =
        static_cast<double>(row.misfires) / static_cast<double>(std::max<std::int64_t>(bursts_in(outcomes), 1));
    if (exact_interval(row.misfires, row.judged).low > kContinuous) {
        row.kind = PatternKind::continuous;
        return;
    }
    // Where rates follow a condition the runs test would take its course for bursts; coincidences know the rates.
    const bool uneven = std::adjacent_find(chance.begin(), chance.end(), std::not_equal_to<>()) != chance.end();
    row.p_bursts = uneven ? coincidences(marked, 1).more : row.runs.few;
    find_period(row, marked, error);
    row.misfires_needed = misfires_for_power(row.rate(), error);
    if (row.period > 0)
        row.kind = PatternKind::periodic;
    else if (row.p_bursts <= error && odds_ratio(outcomes) >= 2.0)
        row.kind = PatternKind::bursts;
    else if (power_for_bursts(row.misfires, row.rate(), error) >= kPower)
        row.kind = PatternKind::random;
    else
        row.kind = PatternKind::undecided;
}

}  // namespace kurbel::study
