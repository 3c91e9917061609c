// The streaming library in one include: configuration, detector, snapshots, counts. Files (kurbel/read/...), the engine on
// paper (kurbel/simulate/...) and studies (kurbel/study/...) need the compiled library and are included by name.
#pragma once

#include "kurbel/core/config.hpp"
#include "kurbel/core/status.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/core/version.hpp"
#include "kurbel/detector.hpp"
#include "kurbel/snapshot.hpp"
#include "kurbel/stage/tally.hpp"
