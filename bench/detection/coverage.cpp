#include "coverage.hpp"

#include <atomic>
#include <mutex>
#include <stdexcept>
#include <thread>

#include "changes.hpp"
#include "kurbel/stage/tally.hpp"
#include "kurbel/study/cylinder_table.hpp"
#include "text/text.hpp"

namespace kurbel_detection {

namespace {

constexpr double kSeconds = 12.0;

bool covers(const kurbel::Interval& interval, double rate) { return rate >= interval.low && rate <= interval.high; }

/// One cylinder loses firings at this rate.
Change one_loses(double rate) {
    return [=](Scenario& s, Draw& draw) {
        MisfireRule rule;
        rule.cylinders = {1 + draw.pick(s.engine.cylinders)};
        rule.rate = rate;
        s.misfires = {rule};
        s.seconds = kSeconds;
        s.settle_s = 3.0;
    };
}

/// Recording `number` of the row, counted.
void count_one(int number, const RunOptions& options, Coverage& row) {
    Cell cell;
    cell.name = "coverage-" + std::to_string(row.rate);
    cell.file = "cells/pattern-random-05.toml";
    cell.own_length = true;
    cell.changes = {one_loses(row.rate)};
    const Scenario scenario = draw_scenario(cell, options.datasets, options.amount, options.seed, number);
    const Recording recording = record(cell, scenario).recording;
    const Judged judged = judge(scenario, recording, options.settings);
    const int cylinder = scenario.misfires.front().cylinders.front();
    kurbel::Tally tally(recording.config.engine);
    kurbel::Share drawn;
    for (const Firing& firing : judged.firings) {
        if (firing.has_event) tally.add(firing.event);
        if (firing.truth.cylinder != cylinder) continue;
        const bool lost = firing.kind == Truth::misfire;
        const bool called = firing.has_event && firing.event.verdict == kurbel::Verdict::misfire;
        ++drawn.of;
        if (lost) ++drawn.count;
        if (lost && !called) ++row.missed;
        if (!lost && called) ++row.called;
    }
    ++row.drawn_covered.of;
    if (covers(drawn.interval(), row.rate)) ++row.drawn_covered.count;
    for (const kurbel::CylinderLine& line : kurbel::cylinder_table(tally, scenario.engine.cylinders).lines) {
        if (line.counts.cylinder == cylinder) {
            ++row.covered.of;
            if (covers(line.interval, row.rate)) ++row.covered.count;
            ++row.counted.of;
            if (covers(kurbel::exact_interval(line.counts.misfires, line.counts.judged), row.rate)) ++row.counted.count;
            row.low_mean += line.interval.low;
            row.high_mean += line.interval.high;
        } else if (line.counts.cylinder > 0) {
            ++row.others.of;
            if (line.interval.low == 0.0) ++row.others.count;
        }
    }
}

void add(const Coverage& part, Coverage& sum) {
    const auto share = [](const kurbel::Share& from, kurbel::Share& to) {
        to.count += from.count;
        to.of += from.of;
    };
    share(part.covered, sum.covered);
    share(part.counted, sum.counted);
    share(part.drawn_covered, sum.drawn_covered);
    share(part.others, sum.others);
    sum.low_mean += part.low_mean;
    sum.high_mean += part.high_mean;
    sum.missed += part.missed;
    sum.called += part.called;
}

}  // namespace

std::vector<Coverage> cover(int recordings, const RunOptions& options, unsigned jobs) {
    std::vector<Coverage> rows;
    for (const double rate : {0.0, 0.001, 0.01, 0.05, 0.5, 1.0}) {
        Coverage row;
        row.rate = rate;
        std::atomic<int> next{0};
        std::mutex mutex;
        std::string failure;
        const auto work = [&] {
            for (int number = next++; number < recordings; number = next++) {
                Coverage part;
                part.rate = rate;
                std::string error;
                try {
                    count_one(number, options, part);
                } catch (const std::exception& caught) {
                    error = caught.what();
                }
                const std::lock_guard lock(mutex);
                if (!error.empty()) failure = error;
                add(part, row);
            }
        };
        std::vector<std::thread> threads;
        for (unsigned i = 0; i < jobs; ++i) threads.emplace_back(work);
        for (std::thread& thread : threads) thread.join();
        if (!failure.empty()) throw std::runtime_error(failure);
        if (row.covered.of > 0) {
            row.low_mean /= static_cast<double>(row.covered.of);
            row.high_mean /= static_cast<double>(row.covered.of);
        }
        rows.push_back(row);
    }
    return rows;
}

std::string coverage_markdown(const std::vector<Coverage>& rows) {
    using kurbel::text::format;
    std::string text =
        "| true rate % | recordings | covered % [95 %] | by the counts alone % | misfires as drawn covered % | mean "
        "interval % | missed | accused | healthy cylinders covering 0 % |\n"
        "|--:|--:|--:|--:|--:|--:|--:|--:|--:|\n";
    for (const Coverage& row : rows) {
        const kurbel::Interval interval = row.covered.interval();
        text +=
            format("| %g | %lld | %.1f [%.1f, %.1f] | %.1f | %.1f | %.2f to %.2f | %lld | %lld | %.2f |\n",
                   100.0 * row.rate, static_cast<long long>(row.covered.of), 100.0 * row.covered.rate(),
                   100.0 * interval.low, 100.0 * interval.high, 100.0 * row.counted.rate(),
                   100.0 * row.drawn_covered.rate(), 100.0 * row.low_mean, 100.0 * row.high_mean,
                   static_cast<long long>(row.missed), static_cast<long long>(row.called), 100.0 * row.others.rate());
    }
    return text;
}

}  // namespace kurbel_detection
