// A learned wheel on disk: which wheel it is, and where its teeth really stand.
#pragma once

#include <array>
#include <string>

#include "kurbel/core/config.hpp"

namespace kurbel::read {

/// What one file holds.
struct WheelFile {
    WheelConfig wheel{};  ///< the wheel that was learned, as its recording told it
    WheelErrors errors{};
    std::array<float, kMaxTeeth> se_deg{};  ///< standard error of each tooth's error
    long long revolutions = 0;              ///< that were learned from
};

/// Reads a wheel file: TOML with [crank_wheel] as in recording.toml and [learned] with error_deg, standard_error_deg and
/// revolutions. Throws InputError (file, line, cause).
[[nodiscard]] WheelFile read_wheel_file(const std::string& path);

/// Writes one; it appears whole or not at all. Throws InputError.
void write_wheel_file(const std::string& path, const WheelFile& file);

/// Puts the errors of `file` (read from `path`) into `config`; throws InputError where its wheel is made in another way: other
/// teeth, or teeth told elsewhere.
void use_wheel_file(const std::string& path, const WheelFile& file, Config& config);

}  // namespace kurbel::read
