// The repair test measured: its errors and its length against the recursion, and what clusters do to them.
#pragma once

#include <cstdio>

#include "kurbel/study/sequential_exact.hpp"
#include "kurbel/study/verify.hpp"
#include "swap_table.hpp"

namespace kurbel_studies {

struct Ends {
    std::int64_t gone = 0;
    std::int64_t remains = 0;
    double firings = 0.0;
};

inline Ends run_repairs(const kurbel::RepairQuestion& question, const Fault& fault, int runs, std::uint64_t seed) {
    using namespace kurbel;
    Random random(seed);
    Ends ends;
    for (int i = 0; i < runs; ++i) {
        Losing losing(fault, random);
        RepairTest test(question);
        Event event;
        event.cylinder = question.cylinder;
        event.time_s = 0.0;
        while (test.state() == RepairState::running) {
            event.verdict = losing.lost(random) ? Verdict::misfire : Verdict::fired;
            event.time_s += 0.15;
            test.push(event);
        }
        ends.gone += test.state() == RepairState::gone ? 1 : 0;
        ends.remains += test.state() == RepairState::remains ? 1 : 0;
        ends.firings += static_cast<double>(test.firings());
    }
    return ends;
}

inline void print_repairs(int runs, std::uint64_t seed) {
    using namespace kurbel;
    std::printf(
        "| limit | confidence | true rate | gone, 95 %% interval | exact | remains, 95 %% interval | exact | mean "
        "firings | "
        "exact | Wald |\n|---|---|---|---|---|---|---|---|---|---|\n");
    for (const double limit : {0.01, 0.05})
        for (const double confidence : {0.95, 0.99})
            for (const double factor : {0.05, 1.0, 2.0}) {
                const RepairQuestion question{.cylinder = 1, .limit = limit, .confidence = confidence};
                const double rate = factor * limit;
                const SequentialPlan plan = RepairTest(question).plan();
                const SequentialCourse exact = exact_course(plan, rate);
                const Ends ends = run_repairs(question, {.rate = rate}, runs, seed);
                std::printf("| %.3g %% | %.3g %% | %.3g %% | %s | %.2f %% | %s | %.2f %% | %.1f | %.1f | %.1f |\n",
                            100.0 * limit, 100.0 * confidence, 100.0 * rate, share_text(ends.gone, runs).c_str(),
                            100.0 * exact.gone, share_text(ends.remains, runs).c_str(), 100.0 * exact.remains,
                            ends.firings / runs, exact.mean_firings, wald_mean_firings(plan, rate, exact.gone));
            }
    std::printf("\n| clusters of | dispersion told | gone at a rate of 1 %% | mean firings |\n|---|---|---|---|\n");
    for (const double length : {1.0, 2.0, 5.0})
        for (const bool told : {false, true}) {
            if (told && length == 1.0) continue;  // nothing to tell: it would be the row above
            const double dispersion = told ? 2.0 * length - 1.0 : 1.0;
            const RepairQuestion question{.cylinder = 1, .dispersion = dispersion};
            const Fault fault{.kind = length > 1.0 ? Fault::Kind::clusters : Fault::Kind::independent,
                              .rate = 0.01,
                              .length = length};
            const Ends ends = run_repairs(question, fault, runs / 4, seed);
            std::printf("| %.0f | %.0f | %s | %.0f |\n", length, dispersion, share_text(ends.gone, runs / 4).c_str(),
                        ends.firings / (runs / 4));
        }
}

}  // namespace kurbel_studies
