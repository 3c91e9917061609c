// Which engine, and where its TDCs are, explain the crank's motion within a cycle.
#pragma once

#include "discover/cycle_spectrum.hpp"
#include "kurbel/discover/discovery.hpp"

namespace kurbel::discover {

struct LayoutSearch {
    EngineFinding engine;
    TdcFinding tdc;
};

[[nodiscard]] LayoutSearch search_layout(const CycleSpectrum& spectrum, const CamFinding& cam);

}  // namespace kurbel::discover
