#include "read/foreign/words.hpp"

#include <array>
#include <charconv>

namespace kurbel::read {

namespace {

std::string number_text(double value) {
    std::array<char, 40> buffer{};
    return {buffer.data(), std::to_chars(buffer.data(), buffer.data() + buffer.size(), value).ptr};
}

}  // namespace

std::string listed(const std::vector<std::string>& names, std::size_t most) {
    std::string text;
    for (std::size_t i = 0; i < names.size() && i < most; ++i) text += (i > 0 ? ", " : "") + names[i];
    if (names.size() > most) text += " and " + std::to_string(names.size() - most) + " more";
    return text;
}

std::string one_of(const std::vector<const char*>& words) {
    std::string text;
    std::size_t left = words.size();
    for (const char* word : words) {
        text += std::string("\"") + word + "\"";
        --left;
        if (left > 0) text += left == 1 ? " or " : ", ";
    }
    return text;
}

std::string range_text(const MappingKey& key) { return number_text(key.low) + " to " + number_text(key.high); }

}  // namespace kurbel::read
