// What each part buys: the same recordings, judged with something left out or told wrongly.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "kurbel/simulate/deep_truth.hpp"
#include "outcome.hpp"

namespace kurbel_detection {

/// One way to judge the same engine.
struct Variant {
    std::string name;
    std::function<void(Recording&, const kurbel::simulate::DeepTruth&)>
        tamper;                                      ///< with the recording, before it is judged
    std::function<void(kurbel::Event&)> judge_anew;  ///< each event, after it
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
