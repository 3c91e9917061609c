// Numbers into text for people.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

namespace kurbel::text {

/// printf into a string.
[[nodiscard, gnu::format(printf, 1, 2)]] std::string format(const char* pattern, ...);

/// A share as percent with a sensible number of places: "36 %", "1.2 %", "0.013 %", "0 %"; "-" for NaN.
[[nodiscard]] std::string percent(double share);

/// "0.3 to 2.1 %".
[[nodiscard]] std::string percent_range(double low, double high);

/// "1 firing", "2 firings".
[[nodiscard]] std::string counted(long long count, const char* noun);

/// "3"; "2 or 3" where `cylinder` is 0.
[[nodiscard]] std::string cylinder_name(std::int32_t cylinder, const std::array<std::int32_t, 2>& candidates);

/// "3", "3 and 5", "3, 5 and 6".
[[nodiscard]] std::string listed(const std::vector<std::string>& names);

/// `text` broken at spaces into lines of at most `width` letters; lines after the first begin with `indent` spaces.
[[nodiscard]] std::string wrapped(const std::string& text, std::size_t width, std::size_t indent);

}  // namespace kurbel::text
