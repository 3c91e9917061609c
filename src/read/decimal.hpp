// Decimal text to numbers without a locale; seconds to whole nanoseconds without passing through floating point.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

namespace kurbel::read {

enum class Rounding { nearest, up };  ///< nearest: halves away from zero; up: towards later times

/// The number in `text` ("-12.034", "3.4e-05") times 10^`digits`, rounded to a whole number. Exact for up to 19 significant
/// digits. Nothing where the text is no decimal number or the product does not fit.
[[nodiscard]] std::optional<std::int64_t> scaled_decimal(std::string_view text, int digits, Rounding rounding) noexcept;

/// A whole number; nothing where the text is anything else or does not fit.
[[nodiscard]] std::optional<std::int64_t> whole_number(std::string_view text) noexcept;

/// A finite number; nothing where the text is anything else, "nan" and "inf" among them.
[[nodiscard]] std::optional<double> finite_number(std::string_view text) noexcept;

}  // namespace kurbel::read
