// One row of the swap study as its record is weighed: likelihoods of every way of misfiring, and of being healthy.
#pragma once

#include <cstdint>
#include <vector>

#include "kurbel/study/misfire_process.hpp"
#include "study/swap_rows.hpp"

namespace kurbel::swap {

struct Seen {
    ProcessFilter filter;
    double elsewhere = 0.0;  ///< misfires a firing of the other rows
};

/// Likelihoods of every row's records of one side.
[[nodiscard]] std::vector<Seen> see(const std::vector<Row>& rows, FiringRecord Row::*record);
/// Sets `elsewhere` of every row anew, after counts have grown.
void set_elsewhere(std::vector<Seen>& seen) noexcept;

/// What a healthy row is called a misfire at: a false-alarm floor, and a share of what the others lose (misread neighbours).
struct FalseCalls {
    double floor = 0.0;
    double misread = 0.0;
    double prior = 0.0;

    [[nodiscard]] double rate(const Seen& seen) const noexcept;
    /// Log likelihood of a healthy row's counts.
    [[nodiscard]] double log_likelihood(const Seen& seen) const noexcept;
};
/// Those held possible; their priors sum to 1.
[[nodiscard]] const std::vector<FalseCalls>& false_calls();

/// Log likelihood of the row being healthy, over all false_calls().
[[nodiscard]] double healthy_log_likelihood(const Seen& seen) noexcept;

/// log(exp(a) + exp(b))
[[nodiscard]] double log_sum(double a, double b) noexcept;

}  // namespace kurbel::swap
