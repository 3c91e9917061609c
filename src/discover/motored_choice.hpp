// What is told of engine and TDC where cycles without fuel were seen.
#pragma once

#include <vector>

#include "discover/layout_choice.hpp"
#include "discover/motored_tdc.hpp"
#include "kurbel/discover/discovery.hpp"

namespace kurbel::discover {

/// Of engine and TDC: likely above 0.97, sure above 0.99.
[[nodiscard]] Sureness layout_sureness(double confidence);

/// Degrees within which a TDC is told. Without a cam the two revolutions are told by the engine alone, or not at all: then within one; and
/// a wheel that looks the same after part of a turn tells no more than that part.
[[nodiscard]] double told_period_deg(const Layout& layout, const CycleSpectrum& spectrum);

/// Adds what motored cycles say of each layout to what the strength of its waves says, and sorts anew.
void believe_motored(const std::vector<MotoredFit>& fits, std::vector<LayoutScore>& scores);

/// For the likeliest layout; the confidence counts what the others would say of the same place. `fits` must not be empty.
[[nodiscard]] TdcFinding motored_tdc(const std::vector<MotoredFit>& fits, const std::vector<LayoutScore>& scores,
                                     double engine_confidence, const CycleSpectrum& spectrum);

}  // namespace kurbel::discover
