#include "text/svg.hpp"

#include <algorithm>
#include <cmath>

#include "text/text.hpp"

namespace kurbel::text::svg {

std::string begin(double width, double height, const std::string& title, const std::string& description) {
    return format(
               "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"%.0f\" height=\"%.0f\" viewBox=\"0 0 %.0f %.0f\" "
               "role=\"img\">\n<title>%s</title>\n<desc>%s</desc>\n",
               width, height, width, height, escaped(title).c_str(), escaped(description).c_str()) +
           // Blue and vermilion are told apart by colour-blind readers too (Okabe & Ito, Color Universal Design, 2008).
           "<style>text{font-family:'DejaVu Sans',Verdana,Arial,sans-serif;font-size:13px;fill:#1c1c1c}"
           ".kb-title{font-size:18px;font-weight:bold}.kb-strong{font-weight:bold}.kb-small{font-size:12px;fill:#444}"
           ".kb-line{stroke:#8a8a8a;fill:none}.kb-grid{stroke:#e2e2e2;fill:none}"
           ".kb-range{stroke:#6a6a6a;stroke-width:3;stroke-opacity:.55;fill:none}"
           ".kb-before{fill:#fff;stroke:#0b5c8f;stroke-width:2.6}.kb-after{fill:#b8430a;stroke:#7c2c05}"
           ".kb-bar{fill:#c9d3da;stroke:#6a6a6a}.kb-told{fill:#0b5c8f;stroke:#063e61}"
           ".kb-mark{stroke:#b8430a;stroke-width:2.4;fill:none}.kb-path{stroke:#0b5c8f;stroke-width:2.4;fill:none}"
           ".kb-limit{stroke:#1c1c1c;stroke-dasharray:7 4;fill:none}</style>\n"
           "<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n";
}

std::string opening(double width, double height) {
    return format(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"%.0f\" height=\"%.0f\" viewBox=\"0 0 %.0f %.0f\">\n", width,
        height, width, height);
}

std::string heading(const std::string& title, const std::string& sentence, double width) {
    std::string svg = text_at(20.0, 30.0, "class=\"kb-title\"", title);
    constexpr double kLetter = 7.6;  // mean width at 13 px
    const std::string lines = wrapped(sentence, static_cast<std::size_t>((width - 40.0) / kLetter), 0);
    double y = 54.0;
    for (std::size_t at = 0; at <= lines.size(); y += 18.0) {
        const std::size_t end = std::min(lines.find('\n', at), lines.size());
        svg += text_at(20.0, y, "", lines.substr(at, end - at));
        at = end + 1;
    }
    return svg;
}

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
