// The intake behind its throttle. Without a volume the charge follows the wish with a lag (operation.manifold_s).
#pragma once

#include "kurbel/simulate/profile.hpp"

namespace kurbel::simulate {

/// Isothermal plenum, filled through a throttle by compressible flow and emptied by the cylinders. Defaults from memory, for
/// a 2 l engine.
struct ManifoldSettings {
    double volume_l = 0.0;         ///< plenum and runners together, 1 to 3 times half the displacement; 0: off
    double throttle_mm2 = 1500.0;  ///< effective area of the open throttle, discharge coefficient included
    double gas_k = 315.0;          ///< temperature ahead of the throttle and behind it
    double actuator_s = 0.05;      ///< time constant of the throttle's drive
    Profile throttle;              ///< share of the open area, 0 to 1; empty: what load, governor or driver ask for
    Profile boost_bar;             ///< pressure ahead of the throttle above ambient (below 0: a clogged filter)
};

}  // namespace kurbel::simulate
