// Runs a scenario: from a description to a labelled recording.
#pragma once

#include <functional>

#include "kurbel/read/recording.hpp"
#include "kurbel/simulate/deep_truth.hpp"
#include "kurbel/simulate/engine_model.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

/// Looks at the engine after each time step of the recording, `time_s` on simulated time; changes nothing.
using StepWatch = std::function<void(const EngineModel&, double time_s)>;

/// The recording of `scenario`, which validate() must accept; throws std::invalid_argument where it does not.
///
/// Time 0 is where the recording begins, after settling. Truth holds one row per firing TDC, in order of time: the time at
/// which that cylinder's own throw passes its TDC; `severity` as the misfire rules took heat away (scatter is not counted);
/// `work_j` the gross indicated work, 180 degrees before to 180 degrees after firing TDC; `tdc_bar` the gauge pressure
/// there. The same scenario gives the same bytes on every machine with IEEE arithmetic.
/// `progress`, where given, is called about once per simulated second with the share done; `watch` after each step.
/// `truth`, where given, is filled with what truth.csv has no room for.
[[nodiscard]] read::Recording simulate(const Scenario& scenario, const std::function<void(double)>& progress = {},
                                       const StepWatch& watch = {}, DeepTruth* truth = nullptr);

}  // namespace kurbel::simulate
