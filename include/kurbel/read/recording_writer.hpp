// Writes a recording folder, in the form that read_recording takes.
#pragma once

#include <string>

#include "kurbel/read/recording.hpp"

namespace kurbel::read {

/// How the edges are written.
struct WriteOptions {
    bool npy = false;  ///< crank.npy and cam.npy instead of edges.csv; a wrapped counter is unwrapped for it
    bool seconds =
        false;  ///< time_s instead of tick; needs timer.hz = 1e9 and timer.bits = 0, so that nothing is rounded
};

/// Writes recording.toml, the edges, channels.csv where there are channel rows and truth.csv where has_truth, into
/// `folder`, which is created if it is absent (its parent must exist); files of the same names are replaced. Channel times
/// and truth times are rounded to 1 ns. Reading the folder gives the same recording (channel ticks: while timer.hz <= 1e9).
/// The caller who must not leave half a folder behind writes into an OutputFolder. Throws InputError naming the file that
/// cannot be written, std::invalid_argument where `seconds` cannot be had or arrays differ in length.
void write_recording(const std::string& folder, const Recording& recording, const WriteOptions& options = {});

}  // namespace kurbel::read
