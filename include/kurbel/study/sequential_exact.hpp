// What a sequential test does at a given rate, exactly.
#pragma once

#include <vector>

#include "kurbel/study/sequential_plan.hpp"

namespace kurbel {

/// Shares of the three ends, and firings until then, for losses that are independent at one rate.
struct SequentialCourse {
    double gone = 0.0;
    double remains = 0.0;
    double undecided = 0.0;
    double mean_firings = 0.0;
};

/// By recursion over firings: the chance of each count of misfires among the paths that have not ended. Rate in 0 to 1.
[[nodiscard]] inline SequentialCourse exact_course(const SequentialPlan& plan, double rate) {
    SequentialCourse course;
    std::vector<double> alive{1.0};  // by count of misfires
    double total = 1.0;
    for (std::int64_t n = 1; n <= plan.most && total > 0.0; ++n) {
        course.mean_firings += total;
        std::vector<double> next(alive.size() + 1, 0.0);
        total = 0.0;
        for (std::size_t x = 0; x < next.size(); ++x) {
            double chance = x < alive.size() ? alive[x] * (1.0 - rate) : 0.0;
            if (x > 0) chance += alive[x - 1] * rate;
            if (chance == 0.0) continue;
            const double ratio = plan.ratio(n, static_cast<std::int64_t>(x));
            if (ratio <= plan.gone_at)
                course.gone += chance;
            else if (ratio >= plan.remains_at)
                course.remains += chance;
            else
                total += next[x] = chance;
        }
        while (next.size() > 1 && next.back() == 0.0) next.pop_back();
        alive = std::move(next);
    }
    course.undecided = total;
    return course;
}

/// Wald's approximation of the mean length (Sequential Analysis, 1947, A:3.57, number from memory), without truncation and overshoot.
[[nodiscard]] inline double wald_mean_firings(const SequentialPlan& plan, double rate, double gone_share) noexcept {
    const double step = (rate * plan.gain - (1.0 - rate) * plan.loss) / plan.dispersion;
    return (gone_share * plan.gone_at + (1.0 - gone_share) * plan.remains_at) / step;
}

}  // namespace kurbel
