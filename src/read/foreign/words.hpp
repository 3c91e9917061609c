// Lists and ranges in words, for messages.
#pragma once

#include <string>
#include <vector>

#include "kurbel/read/mapping.hpp"

namespace kurbel::read {

/// "a, b, c", at most `most` of them, then how many more there are.
[[nodiscard]] std::string listed(const std::vector<std::string>& names, std::size_t most = 40);

/// "\"a\", \"b\" or \"c\"".
[[nodiscard]] std::string one_of(const std::vector<const char*>& words);

/// "1000 to 1e+12".
[[nodiscard]] std::string range_text(const MappingKey& key);

}  // namespace kurbel::read
