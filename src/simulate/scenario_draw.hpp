// Ranges in a scenario file: numbers that are drawn when the file is read, so that one file describes as many engines as wanted.
//   { from = 74, to = 90 }                   uniform between the two, in either order
//   { from = 1, to = 4, whole = true }       a whole number, both ends included
//   { from = 14, to = 3.5, as = "gear" }     all ranges with the same `as` share one draw: here, low ratio with high shuffle
//   { one_of = [a, b, ...] }                 one of the values, each as likely; `as` may stand here too
//   [table] with one_of = [{...}, {...}]     one of the sets of keys joins the table's own keys
// Each draw has a stream of its own, named after the place of its key, so that a range more or less does not change the others.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "read/config_toml.hpp"

namespace kurbel::simulate {

/// Puts drawn values in the place of all ranges. Throws InputError for a range that is none.
void draw_ranges(read::TomlFile& file, std::uint64_t draw);

/// A scenario file with the engine file that it names and nothing left to draw; `draw` as in read_scenario().
[[nodiscard]] read::TomlFile parse_scenario(const std::string& path, std::optional<std::uint64_t> draw);

}  // namespace kurbel::simulate
