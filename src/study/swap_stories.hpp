// What can have happened in a swap test: every story that a set of faulty rows can have, and how likely each is beforehand.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "kurbel/core/config.hpp"

namespace kurbel::swap {

/// `nothing`: no cylinder was faulty before, nor is one now; there was nothing to follow.
enum class Story { followed = 0, stayed, vanished, other, nothing };
inline constexpr int kStories = 5;

/// Why a row misfires after, if it does.
struct Cause {
    enum class Kind : std::uint8_t {
        healthy = 0,
        fresh,  ///< a fault of which nothing is known
        same,   ///< the fault that row `row` had before, with its rate
        alike,  ///< one of the same origin as that of row `row`: with its rate or with one of its own, either as likely
    };
    Kind kind = Kind::healthy;
    std::uint8_t row = 0;
};

/// One explanation: which rows were faulty before, what happened, and what ails each row after.
struct Explanation {
    std::uint32_t faulty = 0;  ///< bit r: row r was faulty before
    Story story = Story::nothing;
    int map = -1;        ///< which of the targets parts went by; -1: it does not matter
    double prior = 0.0;  ///< log
    bool free =
        false;  ///< any rows may be faulty after, for the causes given, but for the patterns that are other stories
    std::array<Cause, kMaxCylinders> after{};
};

/// Which rows' parts were moved, and where each went.
struct Moves {
    int rows = 0;
    std::uint32_t moved = 0;                ///< bit r: row r's part was moved
    std::vector<std::vector<int>> targets;  ///< as Case::targets

    [[nodiscard]] std::uint32_t carried(std::uint32_t set, std::size_t map) const noexcept {
        std::uint32_t after = 0;
        for (int r = 0; r < rows; ++r)
            if ((set >> r & 1U) != 0) after |= 1U << targets[map][static_cast<std::size_t>(r)];
        return after;
    }
};

/// Chance of each row being faulty after in explanations that are `free`.
inline constexpr double kFaultyFreely = 0.15;

/// Appends every story of `faulty` rows before; priors add `log_prior`.
void add_stories(const Moves& moves, std::uint32_t faulty, double log_prior, std::vector<Explanation>& to);
/// The patterns after that `faulty` would have in stories other than `other`: no `free` explanation has them.
[[nodiscard]] std::vector<std::uint32_t> told_patterns(const Moves& moves, std::uint32_t faulty);

}  // namespace kurbel::swap
