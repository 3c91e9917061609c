// The explanations of a swap test and their probabilities.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "kurbel/study/misfire_process.hpp"
#include "study/swap_rows.hpp"

namespace kurbel::swap {

/// What can have happened. `nothing`: no cylinder was faulty before, nor is one now; there was nothing to follow.
enum class Story { followed = 0, stayed, vanished, other, nothing };
inline constexpr int kStories = 5;

/// One explanation: which rows were faulty before, what happened, and by which map of targets.
struct Explanation {
    std::uint32_t faulty = 0;  ///< bit r: row r was faulty before
    Story story = Story::nothing;
    bool paired = false;  ///< the faulty rows after are those of before (stayed, followed, elsewhere), with their rates
    int map = 0;          ///< of Case::targets; -1: every row to itself
    double weight = 0.0;  ///< probability
    std::uint32_t added = 0;  ///< where paired: rows that are faulty after beside those, at rates of their own
};

struct Posterior {
    std::array<double, kStories> probability{};
    std::vector<Explanation> explanations;  ///< all that weigh anything, probabilities

    [[nodiscard]] double of(Story story) const noexcept { return probability[static_cast<std::size_t>(story)]; }

    /// The story to be told, nothing where none is probable enough. Who is told "followed" or "stayed" buys a part or opens an
    /// engine; "vanished" and "other" ask to look further, so that they may be in error five thirds as often.
    [[nodiscard]] Story told(double decide) const noexcept {
        for (const Story story : {Story::followed, Story::stayed})
            if (of(story) >= decide) return story;
        for (const Story story : {Story::vanished, Story::other})
            if (of(story) >= 1.0 - (1.0 - decide) * 5.0 / 3.0) return story;
        return Story::nothing;
    }
};

/// A record's likelihoods as the model uses them.
struct Seen {
    ProcessFilter filter;
    double elsewhere = 0.0;  ///< misfires a firing of the other rows
};

/// Log likelihood of `misfires` in `firings` of a healthy row while the others lose the share `elsewhere` of theirs.
[[nodiscard]] double healthy_log_likelihood(std::int64_t firings, std::int64_t misfires, double elsewhere) noexcept;
/// A false-alarm rate drawn from what such counts leave possible; `u` uniform in 0 to 1.
[[nodiscard]] double draw_healthy_rate(std::int64_t firings, std::int64_t misfires, double elsewhere,
                                       double u) noexcept;

/// Everything about BEFORE is worked out once; AFTER may grow.
class Model {
  public:
    explicit Model(const Case& given);

    /// The posterior for these records after.
    [[nodiscard]] Posterior posterior(const std::vector<Seen>& after) const;

    /// Weights over shape and rate (shape * kRates + rate) of a row faulty after that has the part, or is the cylinder, of row
    /// `source` (-1: of no known source), given what `after` of that row shows. Not normalised.
    [[nodiscard]] std::vector<double> ways_after(int source, const Seen& after) const;

    [[nodiscard]] const std::vector<std::vector<int>>& targets() const noexcept { return targets_; }
    [[nodiscard]] int rows() const noexcept { return static_cast<int>(healthy_before_.size()); }
    [[nodiscard]] std::uint32_t pattern_after(std::uint32_t faulty, int map) const noexcept;
    [[nodiscard]] bool touches_moved(std::uint32_t faulty) const noexcept { return (faulty & moved_) != 0; }

    static constexpr double kFaultyAfter = 0.15;  ///< prior of each row in stories that say nothing else

  private:
    void list_faulty_sets();
    [[nodiscard]] double log_odds(int row) const noexcept;

    std::vector<std::vector<int>> targets_;
    std::uint32_t moved_ = 0;
    std::vector<double> healthy_before_;        // log
    std::vector<double> faulty_before_;         // log
    std::vector<std::vector<double>> carried_;  // by row: over shape and rate after, log scale in carried_scale_
    std::vector<double> carried_scale_;
    std::vector<double> fresh_;        // the same of a row without a source
    std::vector<std::uint32_t> sets_;  // of faulty rows before that weigh anything
};

/// Likelihoods of every row's records of one side.
[[nodiscard]] std::vector<Seen> see(const std::vector<Row>& rows, FiringRecord Row::*record);
/// Sets `elsewhere` of every row anew, after counts have grown.
void set_elsewhere(std::vector<Seen>& seen) noexcept;

}  // namespace kurbel::swap
