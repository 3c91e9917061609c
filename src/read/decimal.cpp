#include "read/decimal.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <limits>

namespace kurbel::read {

namespace {

constexpr int kMostDigits = 19;  // 10^19 - 1 fits an unsigned 64-bit number

constexpr std::array<std::uint64_t, kMostDigits + 1> powers_of_ten() {
    std::array<std::uint64_t, kMostDigits + 1> powers{1};
    for (std::size_t i = 1; i < powers.size(); ++i) powers[i] = powers[i - 1] * 10;
    return powers;
}
constexpr auto kPower = powers_of_ten();

/// sign * mantissa * 10^exponent, and whether digits were dropped below it.
struct Decimal {
    bool negative = false;
    std::uint64_t mantissa = 0;
    int exponent = 0;
    bool inexact = false;
};

struct DigitReader {
    Decimal& value;
    int digits = 0;
    bool seen = false;

    void take(char letter, bool after_point) {
        const auto digit = static_cast<std::uint64_t>(letter - '0');
        seen = true;
        if (digits < kMostDigits) {
            value.mantissa = value.mantissa * 10 + digit;
            if (value.mantissa != 0) ++digits;
            if (after_point) --value.exponent;
        } else {
            value.inexact = value.inexact || digit != 0;
            if (!after_point) ++value.exponent;
        }
    }
};

constexpr bool is_digit(char letter) noexcept { return letter >= '0' && letter <= '9'; }

/// Length of the sign at the front of `text`: 0 or 1.
std::size_t sign_length(std::string_view text) noexcept {
    return !text.empty() && (text[0] == '+' || text[0] == '-') ? 1 : 0;
}

std::optional<int> parse_exponent(std::string_view text) noexcept {
    if (text.size() > 1 && text[0] == '+' && is_digit(text[1])) text.remove_prefix(1);
    int exponent = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), exponent);
    if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
    return exponent >= -1000 && exponent <= 1000 ? std::optional<int>(exponent) : std::nullopt;
}

std::optional<Decimal> parse_decimal(std::string_view text) noexcept {
    Decimal value;
    value.negative = !text.empty() && text[0] == '-';
    std::size_t at = sign_length(text);
    DigitReader reader{value};
    for (; at < text.size() && is_digit(text[at]); ++at) reader.take(text[at], false);
    if (at < text.size() && text[at] == '.')
        for (++at; at < text.size() && is_digit(text[at]); ++at) reader.take(text[at], true);
    if (!reader.seen) return std::nullopt;
    if (at == text.size()) return value;
    if (text[at] != 'e' && text[at] != 'E') return std::nullopt;
    const std::optional<int> exponent = parse_exponent(text.substr(at + 1));
    if (!exponent) return std::nullopt;
    value.exponent += *exponent;
    return value;
}

/// Magnitude of `value` after rounding to a whole number.
std::optional<std::uint64_t> rounded_magnitude(const Decimal& value, Rounding rounding) noexcept {
    std::uint64_t magnitude = value.mantissa;
    if (value.exponent >= 0) {
        for (int i = 0; i < value.exponent && magnitude != 0; ++i) {
            if (magnitude > std::numeric_limits<std::uint64_t>::max() / 10) return std::nullopt;
            magnitude *= 10;
        }
        return magnitude;
    }
    const int shift = -value.exponent;
    if (shift > kMostDigits) return rounding == Rounding::up && !value.negative && magnitude != 0 ? 1 : 0;
    const std::uint64_t unit = kPower[static_cast<std::size_t>(shift)];
    const std::uint64_t rest = magnitude % unit;
    magnitude /= unit;
    const bool away =
        rounding == Rounding::nearest ? rest >= unit - rest : !value.negative && (rest != 0 || value.inexact);
    return magnitude + (away ? 1 : 0);
}

}  // namespace

std::optional<std::int64_t> scaled_decimal(std::string_view text, int digits, Rounding rounding) noexcept {
    std::optional<Decimal> value = parse_decimal(text);
    if (!value) return std::nullopt;
    value->exponent += digits;
    const std::optional<std::uint64_t> magnitude = rounded_magnitude(*value, rounding);
    if (!magnitude || *magnitude > static_cast<std::uint64_t>(std::numeric_limits<std::int64_t>::max()))
        return std::nullopt;
    const auto whole = static_cast<std::int64_t>(*magnitude);
    return value->negative ? -whole : whole;
}

std::optional<std::int64_t> whole_number(std::string_view text) noexcept {
    if (text.size() > 1 && text[0] == '+' && is_digit(text[1])) text.remove_prefix(1);
    std::int64_t value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    return error == std::errc{} && end == text.data() + text.size() ? std::optional<std::int64_t>(value) : std::nullopt;
}

std::optional<double> finite_number(std::string_view text) noexcept {
    if (text.size() > 1 && text[0] == '+' && text[1] != '-') text.remove_prefix(1);
    double value = 0.0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{} || end != text.data() + text.size() || !std::isfinite(value)) return std::nullopt;
    return value;
}

}  // namespace kurbel::read
