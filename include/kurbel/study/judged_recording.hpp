// What studies over events start from: the judged firings of one recording, and the facts that stand beside them.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/read/recording.hpp"

namespace kurbel {

/// The judged firings of one recording.
struct JudgedRecording {
    std::string name;               ///< as the caller named it; stands in messages
    Config config{};                ///< engine, and the settings that the firings were judged with
    std::vector<Event> events;      ///< in order of time
    std::vector<double> coolant_c;  ///< at each event, degrees Celsius; NaN while unknown. Empty: never measured
    SyncState sync{};
    double seconds = 0.0;  ///< first to last edge (or event)

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

}  // namespace kurbel
