// Text and pictures made safe for a page.
#include "study/report/part.hpp"

namespace kurbel::study::report {

std::string escaped(const std::string& text) {
    std::string out;
    out.reserve(text.size());
    for (const char letter : text) {
        switch (letter) {
            case '&': out += "&amp;"; break;
            case '<': out += "&lt;"; break;
            case '>': out += "&gt;"; break;
            case '"': out += "&quot;"; break;
            case '\'': out += "&#39;"; break;
            case '\n':
            case '\t': out += ' '; break;
            default:
                if (static_cast<unsigned char>(letter) >= ' ' && letter != '\x7f') out += letter;
        }
    }
    return out;
}

namespace {

/// RFC 4648, section 4.
std::string base64(const std::string& bytes) {
    constexpr const char* kLetters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::string text;
    text.reserve((bytes.size() + 2) / 3 * 4);
    for (std::size_t i = 0; i < bytes.size(); i += 3) {
        const auto at = [&](std::size_t k) -> std::uint32_t {
            return i + k < bytes.size() ? static_cast<unsigned char>(bytes[i + k]) : 0U;
        };
        const std::uint32_t three = at(0) << 16U | at(1) << 8U | at(2);
        text += kLetters[three >> 18U];
        text += kLetters[(three >> 12U) & 63U];
        text += i + 1 < bytes.size() ? kLetters[(three >> 6U) & 63U] : '=';
        text += i + 2 < bytes.size() ? kLetters[three & 63U] : '=';
    }
    return text;
}

}  // namespace

std::string picture_html(const Picture& picture) {
    // An image of its own: its style stays inside, and no browser runs or fetches anything for it.
    return "<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"Picture, scrolls sideways on a narrow "
           "screen\">\n<img alt=\"" +
           escaped(picture.alt) + "\" src=\"data:image/svg+xml;base64," + base64(picture.svg) + "\">\n</div>\n";
}

}  // namespace kurbel::study::report
