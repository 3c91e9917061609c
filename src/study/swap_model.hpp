// The probabilities of a swap test's explanations.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "study/swap_seen.hpp"
#include "study/swap_stories.hpp"
#include "study/swap_ways.hpp"

namespace kurbel::swap {

/// An explanation that weighs anything.
struct Weighed {
    Explanation what;
    double weight = 0.0;  ///< probability
};

struct Posterior {
    std::array<double, kStories> probability{};
    std::vector<Weighed> explanations;

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

/// Everything about BEFORE is worked out once; AFTER may grow.
class Model {
  public:
    explicit Model(const Case& given);

    /// The posterior for these records after.
    [[nodiscard]] Posterior posterior(const std::vector<Seen>& after) const;

    /// What is believed of a row that is faulty after for that cause, given its record; not normalised.
    [[nodiscard]] Ways ways_after(const Cause& cause, const Seen& after) const;
    /// Log likelihood of a row's record for that cause, over that of being healthy.
    [[nodiscard]] double log_gain(const Cause& cause, const Seen& after) const;
    /// Every row before.
    [[nodiscard]] const std::vector<Seen>& before() const noexcept { return before_; }
    [[nodiscard]] const Moves& moves() const noexcept { return moves_; }

  private:
    struct Open {  // a set of rows that may have been faulty
        std::uint32_t faulty = 0;
        double log_weight = 0.0;  // prior and likelihood, over that of none
    };
    [[nodiscard]] std::vector<Open> faulty_sets(const std::vector<double>& log_odds) const;
    [[nodiscard]] double log_free(const Explanation& one, const std::vector<double>& gain) const;

    std::vector<Seen> before_;
    Moves moves_;
    std::vector<Ways> carried_;  // by row
    std::vector<Explanation> explanations_;
};

}  // namespace kurbel::swap
