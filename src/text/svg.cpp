#include "text/svg.hpp"

#include <cmath>

#include "text/text.hpp"

namespace kurbel::text::svg {

std::string escaped(const std::string& text) {
    std::string out;
    for (const char letter : text) {
        if (letter == '&')
            out += "&amp;";
        else if (letter == '<')
            out += "&lt;";
        else if (letter == '>')
            out += "&gt;";
        else if (static_cast<unsigned char>(letter) >= ' ')
            out += letter;
    }
    return out;
}

std::string text_at(double x, double y, const char* style, const std::string& text) {
    return format("<text x=\"%.1f\" y=\"%.1f\" %s>%s</text>\n", x, y, style, escaped(text).c_str());
}

double round_step(double span, double most) {
    const double raw = span / most;
    const double decade = std::pow(10.0, std::floor(std::log10(raw)));
    for (const double factor : {1.0, 2.0, 5.0})
        if (factor * decade >= raw) return factor * decade;
    return 10.0 * decade;
}

}  // namespace kurbel::text::svg
