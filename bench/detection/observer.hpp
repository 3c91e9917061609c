// The trained observer: told the truth on one half of a recording, it judges the other. What it reaches, the edges hold.
#pragma once

#include "bins.hpp"
#include "scores.hpp"

namespace kurbel_detection {

/// Whether the energy is taken as it is, or less its mean before the TDC, which helps where the speed changes.
enum class Level : bool { absolute, relative };

/// Scores of a linear discriminant (Fisher, Annals of Eugenics 7, 1936) over the kinetic energy in bins of at most 24
/// degrees from 96 degrees before to three firing intervals after each TDC. Each cylinder's healthy median is removed; the
/// covariance within the two classes gets a ridge of 1e-4 of its mean variance. Trained on every other sixteenth of the
/// recording, it scores the rest, then the parts are exchanged, so that each half holds all that the recording goes
/// through. A cylinder with hardly a healthy firing in the half has the median of all cylinders' removed. NaN where bins
/// are missing or a half holds too little.
[[nodiscard]] Scores observe(const Bins& bins, const std::vector<Firing>& firings, Level level);

}  // namespace kurbel_detection
