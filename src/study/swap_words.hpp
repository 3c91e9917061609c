// A swap test for people: sentence, table, picture.
#pragma once

#include <string>

#include "study/swap_forecast.hpp"
#include "study/swap_model.hpp"
#include "study/swap_rows.hpp"

namespace kurbel::swap {

/// All that the study came to.
struct Outcome {
    Case given;
    std::vector<int> to;  ///< as moved_to() gives it
    Posterior posterior;
    std::string verdict;
    double decide = 0.0;
    double more_seconds = kUnknown;
    double chance = 0.0;  ///< of a decision by then, or within the forecast's reach
    bool forecast_made = false;
};

[[nodiscard]] const char* word(Story story) noexcept;
/// In percent; beyond 0.1 and 99.9 % no such model is to be believed, so no digits are told there.
[[nodiscard]] std::string probability_text(double probability);
/// "4 to 1 and 1 to 4": which part went where.
[[nodiscard]] std::string moves_text(const std::vector<int>& to);
[[nodiscard]] std::string sentence(const Outcome& outcome);
[[nodiscard]] std::string table(const Outcome& outcome);
[[nodiscard]] std::string picture(const Outcome& outcome, const std::string& sentence);

}  // namespace kurbel::swap
