#include "text/text.hpp"

#include <cmath>
#include <cstdarg>
#include <cstdio>

namespace kurbel::text {

std::string format(const char* pattern, ...) {
    std::va_list arguments;
    va_start(arguments, pattern);
    std::va_list again;
    va_copy(again, arguments);
    const int length = std::vsnprintf(nullptr, 0, pattern, arguments);
    va_end(arguments);
    std::string text(length > 0 ? static_cast<std::size_t>(length) : 0, '\0');
    std::vsnprintf(text.data(), text.size() + 1, pattern, again);
    va_end(again);
    return text;
}

namespace {

/// Two digits that count, but never places beyond a ten-thousandth of a percent.
std::string percent_number(double share) {
    const double value = 100.0 * share;
    if (value == 0.0) return "0";
    if (value >= 9.95) return format("%.0f", value);
    if (value >= 0.095) return format("%.1f", value);
    if (value >= 0.0095) return format("%.2f", value);
    if (value >= 0.00095) return format("%.3f", value);
    return value >= 0.0001 ? format("%.4f", value) : std::string("< 0.0001");
}

}  // namespace

std::string percent(double share) { return std::isnan(share) ? "-" : percent_number(share) + " %"; }

std::string percent_range(double low, double high) {
    if (std::isnan(low) || std::isnan(high)) return "-";
    return percent_number(low) + " to " + percent_number(high) + " %";
}

std::string counted(long long count, const char* noun) {
    return std::to_string(count) + " " + noun + (count == 1 ? "" : "s");
}

std::string cylinder_name(std::int32_t cylinder, const std::array<std::int32_t, 2>& candidates) {
    if (cylinder > 0) return std::to_string(cylinder);
    if (candidates[1] <= 0)
        return std::to_string(candidates[0]);  // an odd number of cylinders: none to be mistaken for
    return std::to_string(candidates[0]) + " or " + std::to_string(candidates[1]);
}

std::string listed(const std::vector<std::string>& names) {
    std::string text;
    for (std::size_t i = 0; i < names.size(); ++i)
        text += (i == 0 ? "" : i + 1 == names.size() ? " and " : ", ") + names[i];
    return text;
}

std::string wrapped(const std::string& text, std::size_t width, std::size_t indent) {
    std::string out;
    std::size_t column = 0;
    for (std::size_t at = 0; at < text.size();) {
        const std::size_t end = std::min(text.find(' ', at), text.size());
        const std::size_t length = end - at;
        if (column > indent && column + 1 + length > width) {
            out += '\n';
            out.append(indent, ' ');
            column = indent;
        } else if (at > 0) {
            out += ' ';
            ++column;
        }
        out.append(text, at, length);
        column += length;
        at = end + 1;
    }
    return out;
}

}  // namespace kurbel::text
