#include "read/foreign/text_layout.hpp"

#include <algorithm>
#include <array>

#include "kurbel/read/input_error.hpp"
#include "read/decimal.hpp"
#include "read/foreign/line_reader.hpp"
#include "read/foreign/table.hpp"

namespace kurbel::read {

namespace {

constexpr std::size_t kMostHeadLines = 1000;
constexpr std::size_t kMostHeadBytes = 1U << 18U;
constexpr std::size_t kMostColumns = 4096;
constexpr std::size_t kTypicalLines = 50;

std::string_view trimmed(std::string_view text) noexcept {
    while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) text.remove_prefix(1);
    while (!text.empty() && (text.back() == ' ' || text.back() == '\t')) text.remove_suffix(1);
    return text;
}

std::string_view unquoted(std::string_view text) noexcept {
    text = trimmed(text);
    if (text.size() >= 2 && text.front() == text.back() && (text.front() == '"' || text.front() == '\''))
        text = trimmed(text.substr(1, text.size() - 2));
    return text;
}

bool blank_or_comment(std::string_view line) noexcept {
    line = trimmed(line);
    return line.empty() || line[0] == '#';
}

enum class Look : std::uint8_t { blank, point, comma, whole, word };

/// What programs write where a number should be: the column stays one of numbers, and a reader that needs it complains of the line.
bool not_finite(std::string_view field) {
    if (!field.empty() && (field[0] == '-' || field[0] == '+')) field.remove_prefix(1);
    constexpr std::array<std::string_view, 3> kWords{"nan", "inf", "infinity"};
    return std::any_of(kWords.begin(), kWords.end(), [&](std::string_view word) {
        return std::equal(field.begin(), field.end(), word.begin(), word.end(),
                          [](char letter, char small) { return letter == small || letter == small - 32; });
    });
}

/// What kind of number a field is; a comma counts where it stands once, between or before digits.
Look look_of(std::string_view field) {
    if (field.empty()) return Look::blank;
    if (not_finite(field)) return Look::whole;
    if (finite_number(field)) return field.find('.') == std::string_view::npos ? Look::whole : Look::point;
    std::string buffer;
    const bool one_comma = std::count(field.begin(), field.end(), ',') == 1;
    if (one_comma && field.find('.') == std::string_view::npos && finite_number(with_point(field, true, buffer)))
        return Look::comma;
    return Look::word;
}

/// The lines of the head that hold something, with their numbers in the file.
struct Head {
    std::vector<std::string> lines;
    std::vector<long> numbers;
};

Head read_head(const std::string& path, long first_line) {
    LineReader reader(path);
    Head head;
    std::size_t bytes = 0;
    const auto wanted = static_cast<std::size_t>(std::max<long>(first_line, 0)) + kTypicalLines;
    for (std::string_view line; reader.next(line);) {
        if (head.lines.size() >= std::max(kMostHeadLines, wanted) ||
            (bytes > kMostHeadBytes && head.lines.size() > wanted))
            break;
        bytes += line.size();
        if (bytes > kMostHeadBytes * 8)
            throw InputError(path, reader.number(),
                             "no table of numbers within the first 2 MiB: its header is too long");
        if (blank_or_comment(line) && reader.number() < first_line) continue;
        if (trimmed(line).empty()) continue;
        head.lines.emplace_back(line);
        head.numbers.push_back(reader.number());
    }
    return head;
}

/// A way of cutting lines, and how much sense it makes of the last of them.
struct Cut {
    char delimiter = ',';
    std::size_t fields = 0;
    std::size_t numeric = 0;  ///< columns that are numbers in every line looked at
    bool decimal_comma = false;
    std::vector<bool> is_word;
};

Cut try_cut(const std::vector<std::string>& lines, std::size_t from, char delimiter, int decimal) {
    Cut cut;
    cut.delimiter = delimiter;
    std::vector<std::string_view> fields;
    bool points = false;
    for (std::size_t i = from; i < lines.size(); ++i) {
        if (blank_or_comment(lines[i])) continue;
        split_fields(lines[i], delimiter, kMostColumns, fields);
        if (cut.fields == 0) cut.is_word.assign(fields.size(), false);
        cut.fields = cut.fields == 0 ? fields.size() : cut.fields;
        if (fields.size() != cut.fields) return {delimiter, 0, 0, false, {}};
        for (std::size_t k = 0; k < fields.size(); ++k) {
            const Look look = look_of(fields[k]);
            points = points || look == Look::point;
            cut.decimal_comma = cut.decimal_comma || look == Look::comma;
            if (look == Look::word) cut.is_word[k] = true;
        }
    }
    if (decimal != 0) cut.decimal_comma = decimal == ',';
    const bool mixed = points && cut.decimal_comma && decimal == 0;  // "1,5" beside "1.5": not numbers of one kind
    cut.numeric = mixed ? 0 : static_cast<std::size_t>(std::count(cut.is_word.begin(), cut.is_word.end(), false));
    return cut;
}

int told_decimal(const Mapping& mapping) {
    return mapping.decimal.empty() ? 0 : mapping.decimal == "comma" ? ',' : '.';
}

std::vector<char> delimiters(const Mapping& mapping) {
    if (mapping.delimiter == "comma") return {','};
    if (mapping.delimiter == "semicolon") return {';'};
    if (mapping.delimiter == "tab") return {'\t'};
    if (mapping.delimiter == "space") return {' '};
    if (mapping.delimiter == "bar") return {'|'};
    return {'\t', ';', '|', ',', ' '};
}

/// The cut of the last lines that gives the most columns of numbers; nothing where no line is a row of numbers.
Cut best_cut(const Head& head, const Mapping& mapping) {
    Cut best;
    // The last line of the head may be the torn end of the file; with only a line or two it is all there is.
    const std::size_t whole = head.lines.size() > 2 ? head.lines.size() - 1 : head.lines.size();
    const std::vector<std::string> lines(head.lines.begin(), head.lines.begin() + static_cast<std::ptrdiff_t>(whole));
    for (std::size_t look = std::min(kTypicalLines, whole); look > 0 && best.numeric == 0; look /= 2)
        for (const char delimiter : delimiters(mapping)) {
            const Cut cut = try_cut(lines, whole - look, delimiter, told_decimal(mapping));
            if (cut.numeric > best.numeric) best = cut;
        }
    return best;
}

bool fits(const std::string& line, const Cut& cut) {
    std::vector<std::string_view> fields;
    split_fields(line, cut.delimiter, kMostColumns, fields);
    if (fields.size() != cut.fields) return false;
    bool any = false;
    for (std::size_t k = 0; k < fields.size(); ++k) {
        if (cut.is_word[k]) continue;
        const Look look = look_of(fields[k]);
        if (look == Look::word) return false;
        any = any || look != Look::blank;
    }
    return any;
}

/// Place of the first line of numbers in the head: the first of two that fit, one behind the other. Later lines that do not fit are
/// faults of the file and no part of its header.
std::size_t find_first(const Head& head, const Cut& cut, const Mapping& mapping) {
    std::vector<std::size_t> lines;  // without remarks
    for (std::size_t i = 0; i < head.lines.size(); ++i)
        if (!blank_or_comment(head.lines[i]) && head.numbers[i] >= mapping.first_line) lines.push_back(i);
    if (mapping.first_line > 0 && !lines.empty()) return lines.front();
    for (std::size_t k = 0; k < lines.size(); ++k)
        if (fits(head.lines[lines[k]], cut) && (k + 1 == lines.size() || fits(head.lines[lines[k + 1]], cut)))
            return lines[k];
    return lines.empty() ? 0 : lines.back();
}

/// UTF-8 as it is; anything else is taken for Latin-1, in which measuring programs write their degree and micro signs.
std::string as_utf8(std::string_view text) {
    const auto valid = [&] {
        for (std::size_t i = 0; i < text.size();) {
            const auto lead = static_cast<unsigned char>(text[i]);
            const std::size_t more = lead < 0x80 ? 0 : lead >= 0xF0 ? 3 : lead >= 0xE0 ? 2 : lead >= 0xC2 ? 1 : 9;
            if (more == 9 || i + more >= text.size() + (more == 0 ? 1 : 0)) return false;
            for (std::size_t k = 1; k <= more; ++k)
                if ((static_cast<unsigned char>(text[i + k]) & 0xC0U) != 0x80U) return false;
            i += more + 1;
        }
        return true;
    };
    if (valid()) return std::string(text);
    std::string utf8;
    for (const char letter : text) {
        const auto byte = static_cast<unsigned char>(letter);
        if (byte < 0x80) {
            utf8 += letter;
        } else {
            utf8 += static_cast<char>(0xC0U | (byte >> 6U));
            utf8 += static_cast<char>(0x80U | (byte & 0x3FU));
        }
    }
    return utf8;
}

/// Takes "Time [ms]" or "Time (ms)" apart.
void take_unit(std::string& name, std::string& unit) {
    for (const auto& [open, close] : {std::pair{'[', ']'}, std::pair{'(', ')'}}) {
        const std::size_t at = name.rfind(open);
        if (at == std::string::npos || at == 0 || name.back() != close) continue;
        if (unit.empty()) unit = std::string(trimmed(std::string_view(name).substr(at + 1, name.size() - at - 2)));
        name = std::string(trimmed(std::string_view(name).substr(0, at)));
        return;
    }
}

void read_names(const Head& head, std::size_t first, const Cut& cut, const Mapping& mapping, TextLayout& layout) {
    std::vector<std::string_view> fields;
    std::vector<std::size_t> rows;  // lines of words right before the numbers, with a word for every column
    for (std::size_t i = first; i-- > 0 && rows.size() < 2;) {
        std::string_view line = head.lines[i];
        if (!line.empty() && line[0] == '#') line.remove_prefix(1);
        split_fields(line, cut.delimiter, kMostColumns, fields);
        if (fields.size() != cut.fields) break;
        rows.push_back(i);
    }
    if (mapping.header_line > 0) {
        rows.clear();
        for (std::size_t i = 0; i < head.numbers.size(); ++i)
            if (head.numbers[i] == mapping.header_line) rows.push_back(i);
    }
    layout.columns.assign(cut.fields, "");
    layout.units.assign(cut.fields, "");
    for (std::size_t k = 0; k < cut.fields; ++k) layout.columns[k] = "#" + std::to_string(k + 1);
    if (rows.empty()) return;
    const auto cells_of = [&](std::size_t row) {
        std::string_view line = head.lines[row];
        if (!line.empty() && line[0] == '#') line.remove_prefix(1);
        split_fields(line, cut.delimiter, kMostColumns, fields);
        std::vector<std::string> cells;
        for (std::size_t k = 0; k < cut.fields; ++k) cells.push_back(k < fields.size() ? as_utf8(fields[k]) : "");
        return cells;
    };
    layout.columns = cells_of(rows.back());
    if (rows.size() == 2) layout.units = cells_of(rows.front());
    for (std::string& unit : layout.units) {
        if (unit.size() >= 2 && (unit.front() == '[' || unit.front() == '(')) unit = unit.substr(1, unit.size() - 2);
    }
    for (std::size_t k = 0; k < cut.fields; ++k) take_unit(layout.columns[k], layout.units[k]);
}

}  // namespace

std::size_t column_of(const std::string& path, const TextLayout& layout, const std::string& name) {
    std::string bare = name;
    std::string unit;
    take_unit(bare, unit);
    for (std::size_t k = 0; k < layout.columns.size() && !unit.empty(); ++k)
        if (layout.columns[k] == bare && layout.units[k] == unit) return k;
    return place_of(path, layout.columns, name);
}

void split_fields(std::string_view line, char delimiter, std::size_t most, std::vector<std::string_view>& fields) {
    fields.clear();
    if (delimiter == ' ') {
        for (line = trimmed(line); !line.empty() && fields.size() < most; line = trimmed(line)) {
            const bool quoted = line.front() == '"' && line.find('"', 1) != std::string_view::npos;
            std::size_t end = quoted ? line.find('"', 1) + 1 : line.find_first_of(" \t");
            end = std::min(end, line.size());
            fields.push_back(unquoted(line.substr(0, end)));
            line.remove_prefix(end);
        }
        return;
    }
    const bool quotes = line.find('"') != std::string_view::npos;
    std::size_t start = 0;
    bool quoted = false;
    for (std::size_t at = 0; at < line.size() && fields.size() < most; ++at) {
        if (quotes && line[at] == '"') quoted = !quoted;
        if (line[at] != delimiter || quoted) continue;
        fields.push_back(unquoted(line.substr(start, at - start)));
        start = at + 1;
    }
    if (fields.size() < most) fields.push_back(unquoted(line.substr(start)));
}

std::string_view with_point(std::string_view field, bool decimal_comma, std::string& buffer) {
    if (!decimal_comma || field.find(',') == std::string_view::npos) return field;
    buffer.assign(field);
    std::replace(buffer.begin(), buffer.end(), ',', '.');
    return buffer;
}

TextLayout find_layout(const std::string& path, const Mapping& mapping) {
    const Head head = read_head(path, mapping.first_line);
    const Cut cut = best_cut(head, mapping);
    if (cut.numeric == 0)
        throw InputError(
            path, 0,
            "no rows of numbers found in its first " + std::to_string(head.lines.size()) +
                " lines; if it is a table, tell with delimiter, decimal and first_line how it is laid out");
    TextLayout layout;
    layout.delimiter = cut.delimiter;
    layout.decimal_comma = cut.decimal_comma;
    const std::size_t first = find_first(head, cut, mapping);
    layout.first_line = head.numbers[first];
    read_names(head, first, cut, mapping, layout);
    return layout;
}

}  // namespace kurbel::read
