#include "kurbel/study/pattern.hpp"

#include <algorithm>
#include <cmath>

#include "kurbel/study/block_test.hpp"
#include "kurbel/study/multiplicity.hpp"
#include "study/pattern_rows.hpp"

namespace kurbel {

const char* name(PatternKind kind) noexcept {
    constexpr std::array<const char*, 6> names{"none", "random", "bursts", "periodic", "continuous", "undecided"};
    return names[static_cast<std::size_t>(kind) % names.size()];
}

const char* name(Condition condition) noexcept {
    constexpr std::array<const char*, study::kConditions> names{"speed", "load", "coolant", "time"};
    return names[static_cast<std::size_t>(condition) % names.size()];
}

const char* name(Lean lean) noexcept {
    constexpr std::array<const char*, 4> names{"none", "rises", "falls", "peaks"};
    return names[static_cast<std::size_t>(lean) % names.size()];
}

namespace {

using study::Cells;
using study::kConditions;
using study::kFewestTested;
using study::Outcomes;

constexpr double kSignificant = 0.05;  // all tests of conditions together
constexpr std::int64_t kFewestTogether = 5;

constexpr std::array<Condition, kConditions> kAll{Condition::speed, Condition::load, Condition::coolant,
                                                  Condition::time};

/// A row with what its tests need.
struct Work {
    const Outcomes* outcomes = nullptr;
    std::array<Cells, kConditions> cells;
};

bool by_trend(Condition condition) { return condition == Condition::coolant || condition == Condition::time; }

std::vector<double> values_of(const Outcomes& outcomes, Condition condition, bool since_start) {
    std::vector<double> values(outcomes.size());
    const bool logarithm = condition == Condition::time && since_start;
    for (std::size_t i = 0; i < values.size(); ++i) {
        const double value = outcomes.condition[i][static_cast<std::size_t>(condition)];
        values[i] = logarithm ? std::log(std::max(value, 1.0)) : value;
    }
    return values;
}

double test(const BlockTest& blocks, const Work& work, Condition condition, bool since_start,
            const std::vector<int>& within = {}) {
    const std::vector<int>& cell = work.cells[static_cast<std::size_t>(condition)].cell;
    if (!by_trend(condition)) return blocks.by_cell(cell, within);
    return blocks.by_trend(values_of(*work.outcomes, condition, since_start), cell, within);
}

PatternRow first_look(Work& work, bool since_start) {
    PatternRow row;
    const Outcomes& outcomes = *work.outcomes;
    row.cylinder = outcomes.cylinder;
    row.candidates = outcomes.candidates;
    row.half = outcomes.half;
    row.judged = static_cast<std::int64_t>(outcomes.size());
    row.misfires = std::count(outcomes.misfire.begin(), outcomes.misfire.end(), true);
    const BlockTest blocks(outcomes.misfire, outcomes.stretch);
    for (const Condition condition : kAll) {
        Cells& cells = work.cells[static_cast<std::size_t>(condition)];
        cells = study::cut(outcomes, condition, since_start);
        if (cells.effect.varied && row.misfires >= kFewestTested)
            cells.effect.p = test(blocks, work, condition, since_start);
        row.conditions.push_back(cells.effect);
    }
    return row;
}

void adjust(std::vector<PatternRow>& rows) {
    std::vector<double> p;
    for (const PatternRow& row : rows)
        for (const ConditionEffect& effect : row.conditions) p.push_back(effect.p);
    const std::vector<double> adjusted = holm(p);
    auto next = adjusted.begin();
    for (PatternRow& row : rows)
        for (ConditionEffect& effect : row.conditions) effect.p_adjusted = *next++;
}

/// Which way the rate goes, from the cells' rates against their order.
Lean lean_of(const ConditionEffect& effect) {
    const int last = static_cast<int>(effect.cells.size()) - 1;
    if (effect.top == last) return Lean::rises;
    if (effect.top == 0) return Lean::falls;
    if (!by_trend(effect.condition)) return Lean::peaks;
    double covariance = 0.0;
    double n = 0.0;
    double place = 0.0;
    double rate = 0.0;
    for (int i = 0; i <= last; ++i) {
        const ConditionCell& cell = effect.cells[static_cast<std::size_t>(i)];
        n += static_cast<double>(cell.judged);
        place += i * static_cast<double>(cell.judged);
        rate += static_cast<double>(cell.misfires);
    }
    for (int i = 0; i <= last; ++i) {
        const ConditionCell& cell = effect.cells[static_cast<std::size_t>(i)];
        covariance +=
            (i - place / n) * (static_cast<double>(cell.misfires) - static_cast<double>(cell.judged) * rate / n);
    }
    return covariance > 0.0 ? Lean::rises : Lean::falls;
}

/// Rate in the top cell over the rate elsewhere; interval of the log ratio (Katz et al., Biometrics 34:469-474, 1978), half a
/// count added on either side, its variance times the dispersion.
void compare_top(ConditionEffect& effect, double dispersion) {
    for (std::size_t i = 0; i < effect.cells.size(); ++i)
        if (effect.top < 0 || effect.cells[i].rate > effect.cells[static_cast<std::size_t>(effect.top)].rate)
            effect.top = static_cast<int>(i);
    double x[2] = {0.5, 0.5};
    double n[2] = {0.5, 0.5};
    for (std::size_t i = 0; i < effect.cells.size(); ++i) {
        const int side = static_cast<int>(i) == effect.top ? 0 : 1;
        x[side] += static_cast<double>(effect.cells[i].misfires);
        n[side] += static_cast<double>(effect.cells[i].judged);
    }
    const double log_ratio = std::log(x[0] / n[0]) - std::log(x[1] / n[1]);
    const double variance = 1.0 / x[0] - 1.0 / n[0] + 1.0 / x[1] - 1.0 / n[1];
    constexpr double kTwoSided = 1.959963984540054;  // 97.5 % of the normal distribution
    const double reach = kTwoSided * std::sqrt(std::max(variance, 0.0) * dispersion);
    effect.ratio = std::exp(log_ratio);
    effect.ratio_low = std::exp(log_ratio - reach);
    effect.ratio_high = std::exp(log_ratio + reach);
}

/// Interval of a rate on counts divided by the dispersion (effective counts; Korn & Graubard, Surv. Methodol. 24:193-201, 1998).
Interval interval_of(std::int64_t misfires, std::int64_t judged, double dispersion) {
    if (dispersion <= 1.0 || judged == 0) return exact_interval(misfires, judged);
    const double x = static_cast<double>(misfires) / dispersion;
    const double n = static_cast<double>(judged) / dispersion;
    Interval interval;
    if (misfires > 0) interval.low = inverse_incomplete_beta(x, n - x + 1.0, 0.025);
    if (misfires < judged) interval.high = inverse_incomplete_beta(x + 1.0, std::max(n - x, 1e-9), 0.975);
    return interval;
}

/// Rates under the conditions that matter, outcome by outcome: by all of their cells together where those are large enough.
std::vector<double> chances(const PatternRow& row, const Work& work) {
    constexpr double kFewest = 20.0;
    std::vector<double> chance(work.outcomes->size(), row.rate());
    std::vector<int> place(chance.size(), 0);
    int places = 1;
    for (const ConditionEffect& effect : row.conditions) {
        if (!effect.matters()) continue;
        const std::vector<int>& cell = work.cells[static_cast<std::size_t>(effect.condition)].cell;
        const int count = static_cast<int>(effect.cells.size());
        std::vector<int> finer(place.size());
        std::vector<double> size(static_cast<std::size_t>(places * count), 0.0);
        std::vector<double> ones(size.size(), 0.0);
        for (std::size_t i = 0; i < place.size(); ++i) {
            finer[i] = place[i] * count + std::max(cell[i], 0);
            const auto at = static_cast<std::size_t>(finer[i]);
            size[at] += 1.0;
            ones[at] += work.outcomes->misfire[i] ? 1.0 : 0.0;
        }
        for (std::size_t i = 0; i < place.size(); ++i) {
            const auto at = static_cast<std::size_t>(finer[i]);
            if (size[at] >= kFewest) chance[i] = ones[at] / size[at];
        }
        place = finer;
        places *= count;
    }
    return chance;
}

/// What of the rate stays with a condition while another one that matters is held fixed.
void hold_fixed(PatternRow& row, const Work& work, bool since_start) {
    const BlockTest blocks(work.outcomes->misfire, work.outcomes->stretch);
    for (ConditionEffect& effect : row.conditions) {
        if (!effect.matters()) continue;
        for (const ConditionEffect& other : row.conditions) {
            if (&other == &effect || !other.matters()) continue;
            const double p = test(blocks, work, effect.condition, since_start,
                                  work.cells[static_cast<std::size_t>(other.condition)].cell);
            // Nothing left to compare inside the other's cells: the two moved as one.
            effect.p_alone = std::fmax(std::isnan(p) ? 1.0 : p, std::isnan(effect.p_alone) ? 0.0 : effect.p_alone);
        }
    }
}

void look_for_company(PatternRow& row, const Outcomes& outcomes) {
    std::vector<int> cell(outcomes.size());
    double count[2][2] = {{0.5, 0.5}, {0.5, 0.5}};
    std::int64_t in_company = 0;
    for (std::size_t i = 0; i < cell.size(); ++i) {
        cell[i] = outcomes.company[i] ? 1 : 0;
        in_company += cell[i];
        count[cell[i]][outcomes.misfire[i] ? 1 : 0] += 1.0;
    }
    if (in_company < kFewestTogether || row.misfires < kFewestTogether) return;
    row.p_together = BlockTest(outcomes.misfire, outcomes.stretch).by_cell(cell);
    row.together_ratio = count[1][1] / (count[1][0] + count[1][1]) / (count[0][1] / (count[0][0] + count[0][1]));
}

void finish(PatternRow& row, const Work& work, bool since_start, double false_alarm, int tested) {
    for (ConditionEffect& effect : row.conditions) {
        if (!effect.varied) continue;
        compare_top(effect, 1.0);
        if (effect.p_adjusted <= kSignificant) effect.lean = lean_of(effect);
    }
    hold_fixed(row, work, since_start);
    study::tell_kind(row, *work.outcomes, chances(row, work), false_alarm, tested);
    row.interval = interval_of(row.misfires, row.judged, row.dispersion);
    for (ConditionEffect& effect : row.conditions) {
        for (ConditionCell& cell : effect.cells)
            cell.interval = interval_of(cell.misfires, cell.judged, row.dispersion);
        if (effect.varied) compare_top(effect, row.dispersion);
    }
    if (!row.all()) look_for_company(row, *work.outcomes);
}

void add_times(Pattern& pattern, const std::vector<JudgedRecording>& recordings) {
    double inverse = 0.0;
    double count = 0.0;
    for (const JudgedRecording& recording : recordings) {
        pattern.seconds += recording.seconds;
        if (!recording.events.empty())
            pattern.judged_s += recording.seconds * static_cast<double>(recording.judged()) /
                                static_cast<double>(recording.events.size());
        for (const Event& event : recording.events) {
            if (event.verdict == Verdict::unjudged || !(event.speed_rpm > 0.0)) continue;
            inverse += 1.0 / event.speed_rpm;
            count += 1.0;
        }
    }
    if (count > 0.0) pattern.mean_rpm = count / inverse;
}

}  // namespace

Pattern find_pattern(const std::vector<JudgedRecording>& recordings) {
    if (recordings.empty()) throw WrongQuestion("RECORDING: give at least one recording of the running engine");
    const study::Sorted sorted = study::sort_outcomes(recordings);
    Pattern pattern;
    pattern.since_start = sorted.since_start;
    pattern.strokes = recordings.front().config.engine.strokes;
    add_times(pattern, recordings);
    std::vector<Work> work(sorted.rows.size());
    int misfiring = 0;
    for (std::size_t i = 0; i < work.size(); ++i) {
        work[i].outcomes = &sorted.rows[i];
        pattern.rows.push_back(first_look(work[i], sorted.since_start));
        misfiring += pattern.rows.back().misfires > 0 ? 1 : 0;
        if (pattern.worst < 0 ||
            pattern.rows.back().misfires > pattern.rows[static_cast<std::size_t>(pattern.worst)].misfires)
            pattern.worst = static_cast<int>(i);
    }
    // Misfires of one cylinder and a stray one elsewhere are no matter of all cylinders.
    const auto guilty = std::count_if(pattern.rows.begin(), pattern.rows.end(), [&](const PatternRow& row) {
        return row.misfires > 0 && row.misfires * 10 >= pattern.rows[static_cast<std::size_t>(pattern.worst)].misfires;
    });
    if (guilty > 1) {
        work.push_back({&sorted.all, {}});
        pattern.rows.push_back(first_look(work.back(), sorted.since_start));
    }
    adjust(pattern.rows);
    const double false_alarm = recordings.front().config.settings.false_alarm;
    for (std::size_t i = 0; i < work.size(); ++i)
        finish(pattern.rows[i], work[i], sorted.since_start, false_alarm, std::max(misfiring, 1));
    pattern.causes = study::common_causes(pattern);
    pattern.next = study::next_measurements(pattern);
    return pattern;
}

}  // namespace kurbel
