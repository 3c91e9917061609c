// What each part buys: the same recordings, judged with something left out or told wrongly.
#pragma once

#include <string>
#include <vector>

#include "outcome.hpp"

namespace kurbel_detection {

/// One way to judge. `tamper` changes the recording before it is judged; the engine that made it stays the same.
struct Variant {
    std::string name;
    Tamper tamper;
    kurbel::Settings settings{};
    bool single_precision = false;
};

/// The detector as it comes, and what configuration and inputs allow to take from it.
[[nodiscard]] std::vector<Variant> variants(const kurbel::Settings& settings);

/// Runs the cell's engines through all variants: one outcome each, without rivals.
[[nodiscard]] std::vector<Outcome> ablate(const Cell& cell, const RunOptions& options,
                                          const std::vector<Variant>& variants);

/// A row a variant: missed and falsely called by kind of cell. `outcomes[c][v]`: cell c, variant v.
[[nodiscard]] std::string ablation_markdown(const std::vector<Variant>& variants,
                                            const std::vector<std::vector<Outcome>>& outcomes);

/// A row a cell and variant.
[[nodiscard]] std::string ablation_csv(const std::vector<Variant>& variants,
                                       const std::vector<std::vector<Outcome>>& outcomes);

}  // namespace kurbel_detection
