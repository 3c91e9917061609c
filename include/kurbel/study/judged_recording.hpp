// What studies over events start from: the judged firings of one recording, and the facts that stand beside them.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/read/recording.hpp"
#include "kurbel/study/tdc_offset.hpp"

namespace kurbel {

/// The judged firings of one recording.
struct JudgedRecording {
    std::string name;               ///< as the caller named it; stands in messages
    Config config{};                ///< engine, and the settings that the firings were judged with
    std::vector<Event> events;      ///< in order of time
    std::vector<double> coolant_c;  ///< at each event, degrees Celsius; NaN while unknown. Empty: never measured
    SyncState sync{};
    TdcOffset tdc_offset{};        ///< where combustion seems to stand against the declared TDC
    double seconds = 0.0;          ///< first to last edge (or event)
    std::uint64_t edges_hash = 0;  ///< of all edges: the same for the same recording; 0 = unknown

    [[nodiscard]] std::int64_t judged() const noexcept;
    /// Coolant temperature at event `i`; NaN where unknown.
    [[nodiscard]] double coolant(std::size_t i) const noexcept {
        return i < coolant_c.size() ? coolant_c[i] : kUnknown;
    }
};

/// Runs the detector over `recording` and takes what studies need. `progress` is called now and then with the share done.
/// Throws read::InputError where the configuration is refused; std::bad_alloc.
[[nodiscard]] JudgedRecording judge_recording(const read::Recording& recording, const std::string& name,
                                              const Settings& settings = {},
                                              const std::function<void(double)>& progress = {});

/// Reads a folder and judges it. Throws read::InputError.
[[nodiscard]] JudgedRecording judge_folder(const std::string& folder, const Settings& settings = {},
                                           const std::function<void(double)>& progress = {});

/// Throws read::InputError where two of the recordings are the same one: evidence that is given twice counts double.
void refuse_repeats(const std::vector<const JudgedRecording*>& recordings);

}  // namespace kurbel
