// How a text table is laid out: what parts its fields, the decimal sign, where names, units and numbers stand.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "kurbel/read/mapping.hpp"

namespace kurbel::read {

struct TextLayout {
    char delimiter = ',';  ///< ' ' stands for any run of spaces and tabs
    bool decimal_comma = false;
    long first_line = 1;  ///< of numbers
    std::vector<std::string> columns;
    std::vector<std::string> units;  ///< one each, empty where unknown
};

/// Cuts `line` into fields without the spaces and quotes around them; stops after `most` of them.
void split_fields(std::string_view line, char delimiter, std::size_t most, std::vector<std::string_view>& fields);

/// A field with the decimal point that the number readers take. `buffer` holds it where it had a comma.
[[nodiscard]] std::string_view with_point(std::string_view field, bool decimal_comma, std::string& buffer);

/// Looks at the first lines of a file (at most 1000, at most 256 KiB of them). What `mapping` tells is taken from there.
/// Throws InputError where no rows of numbers are found.
[[nodiscard]] TextLayout find_layout(const std::string& path, const Mapping& mapping);

/// The column that `name` means: as the file writes it, with or without its unit ("Time [ms]", "Time"), or "#1". Throws InputError.
[[nodiscard]] std::size_t column_of(const std::string& path, const TextLayout& layout, const std::string& name);

}  // namespace kurbel::read
