// What is believed of how a faulty row misfires: weights over every way of MisfireProcess, by shape and rate.
#pragma once

#include <vector>

#include "kurbel/study/misfire_process.hpp"

namespace kurbel::swap {

/// Entry shape * MisfireProcess::kRates + rate; they sum to 1 unless said otherwise.
using Ways = std::vector<double>;

/// Before anything was seen.
[[nodiscard]] const Ways& fresh_ways();
/// What a record tells of the same fault in another recording: its rate drifts, mostly a little, and its spells mostly last as long.
[[nodiscard]] Ways carried_ways(const ProcessFilter& seen);
/// Log likelihood of a record under such weights.
[[nodiscard]] double log_likelihood(const Ways& ways, const ProcessFilter& record);
/// The weights times the record's likelihoods; not normalised, the largest likelihood taken as 1.
[[nodiscard]] Ways weighed(const Ways& ways, const ProcessFilter& record);

}  // namespace kurbel::swap
