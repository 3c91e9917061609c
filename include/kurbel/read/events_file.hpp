// events.csv: one row per firing.
#pragma once

#include <string>
#include <vector>

#include "kurbel/core/types.hpp"

namespace kurbel::read {

/// Header line of events.csv, without a line end.
[[nodiscard]] const char* events_header() noexcept;

/// Writes the events; unknown numbers become empty fields. Times have 9 decimals, other numbers 9 significant digits.
/// Throws InputError where the file cannot be written.
void write_events(const std::string& path, const std::vector<Event>& events);

/// Reads what write_events wrote (figures per inertia are not in the file and stay NaN). Columns may stand in any order, extra
/// ones are ignored. Throws InputError (file, line, cause).
[[nodiscard]] std::vector<Event> read_events(const std::string& path);

}  // namespace kurbel::read
