#include "read/csv.hpp"

#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <limits>
#include <optional>

#include "kurbel/read/input_error.hpp"
#include "read/decimal.hpp"

namespace kurbel::read {

namespace {

std::string_view trimmed(std::string_view text) noexcept {
    while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) text.remove_prefix(1);
    while (!text.empty() && (text.back() == ' ' || text.back() == '\t')) text.remove_suffix(1);
    if (text.size() >= 2 && text.front() == '"' && text.back() == '"') text = text.substr(1, text.size() - 2);
    return text;
}

std::string number_text(double value) {
    std::string text = std::to_string(value);
    text.erase(text.find_last_not_of('0') + 1);
    if (text.back() == '.') text.pop_back();
    return text;
}

std::int64_t memory_bytes() noexcept {
    const long pages = ::sysconf(_SC_PHYS_PAGES);
    const long page = ::sysconf(_SC_PAGESIZE);
    return pages > 0 && page > 0 ? std::int64_t{pages} * page : std::numeric_limits<std::int64_t>::max();
}

}  // namespace

std::string read_file(const std::string& path, std::int64_t most_bytes) {
    std::error_code error;
    if (!std::filesystem::exists(path, error)) throw InputError(path, 0, "is missing");
    if (std::filesystem::is_directory(path, error)) throw InputError(path, 0, "is a folder, not a file");
    // A pipe may keep its reader waiting for ever, a device may never end.
    if (!std::filesystem::is_regular_file(path, error)) throw InputError(path, 0, "is no regular file");
    std::ifstream stream(path, std::ios::binary | std::ios::ate);
    const std::streamoff size = stream ? static_cast<std::streamoff>(stream.tellg()) : -1;
    if (size < 0) throw InputError(path, 0, "cannot be opened: check who may read it");
    if (size > most_bytes)
        throw InputError(path, 0,
                         "is larger than " + std::to_string(most_bytes >> 20) + " MiB, which nothing of its kind is");
    // What is read whole, and what is made of it, has to fit beside everything else.
    if (size > memory_bytes() / 4)
        throw InputError(path, 0,
                         "holds " + std::to_string(size >> 20) +
                             " MiB, more than a quarter of this machine's memory; cut it into parts");
    std::string text(static_cast<std::size_t>(size), '\0');
    stream.seekg(0);
    if (!stream.read(text.data(), size)) throw InputError(path, 0, "cannot be read");
    return text;
}

std::string shown(std::string_view text) {
    constexpr std::size_t kMost = 40;
    std::string quoted = "\"";
    for (const char letter : text.substr(0, kMost)) quoted += letter >= ' ' && letter <= '~' ? letter : '?';
    return quoted + (text.size() > kMost ? "...\"" : "\"");
}

CsvTable::CsvTable(const std::string& path) : path_(path), text_(read_file(path)) {
    rest_ = text_;
    if (rest_.substr(0, 3) == "\xEF\xBB\xBF") rest_.remove_prefix(3);
    quotes_ = rest_.find('"') != std::string_view::npos;
    if (rest_.empty()) throw InputError(path_, 0, "is empty");
    split(take_line(), columns_);
    for (std::size_t i = 0; i < columns_.size(); ++i)
        if (std::find(columns_.begin(), columns_.begin() + static_cast<std::ptrdiff_t>(i), columns_[i]) !=
            columns_.begin() + static_cast<std::ptrdiff_t>(i))
            fail("column " + shown(columns_[i]) + " stands twice in the header");
}

int CsvTable::find(std::string_view column) const noexcept {
    const auto place = std::find(columns_.begin(), columns_.end(), column);
    return place == columns_.end() ? -1 : static_cast<int>(place - columns_.begin());
}

int CsvTable::require(const char* column) const {
    const int place = find(column);
    if (place >= 0) return place;
    std::string names;
    for (const std::string_view name : columns_) names += (names.empty() ? "" : ", ") + shown(name);
    throw InputError(path_, 1, std::string("no column ") + column + "; the header names " + names);
}

bool CsvTable::next() {
    if (rest_.empty()) return false;
    const std::string_view line = take_line();
    if (line.empty()) {
        check_rest_is_empty();
        return false;
    }
    split(line, fields_);
    if (fields_.size() == columns_.size()) return true;
    fail("has " + std::to_string(fields_.size()) + " of " + std::to_string(columns_.size()) + " fields" +
         (rest_.empty() && fields_.size() < columns_.size() ? "; the file seems to be cut off here" : ""));
}

double CsvTable::number(int column, double low, double high) const {
    const std::optional<double> value = finite_number(field(column));
    if (!value) fail_field(column, "must be a finite number");
    if (!(*value >= low && *value <= high))
        fail_field(column, "must lie in " + number_text(low) + " to " + number_text(high));
    return *value;
}

bool CsvTable::flag(int column) const {
    const std::optional<double> value = finite_number(field(column));
    if (!value || (*value != 0.0 && *value != 1.0)) fail_field(column, "must be 0 or 1");
    return *value == 1.0;
}

void CsvTable::fail(const std::string& cause) const { throw InputError(path_, line_, cause); }

void CsvTable::fail_field(int column, const std::string& cause) const {
    fail(std::string(columns_[static_cast<std::size_t>(column)]) + ": " + cause + ", not " + shown(field(column)));
}

void CsvTable::split(std::string_view line, std::vector<std::string_view>& fields) const {
    fields.clear();
    std::size_t start = 0;
    bool quoted = false;
    for (std::size_t at = 0; at < line.size(); ++at) {
        if (quotes_ && line[at] == '"') quoted = !quoted;
        if (line[at] != ',' || quoted) continue;
        fields.push_back(trimmed(line.substr(start, at - start)));
        start = at + 1;
    }
    fields.push_back(trimmed(line.substr(start)));
}

std::string_view CsvTable::take_line() noexcept {
    ++line_;
    const std::size_t end = rest_.find('\n');
    std::string_view line = rest_.substr(0, end);
    rest_ = end == std::string_view::npos ? std::string_view() : rest_.substr(end + 1);
    if (!line.empty() && line.back() == '\r') line.remove_suffix(1);
    return line;
}

void CsvTable::check_rest_is_empty() {
    const long empty_line = line_;
    while (!rest_.empty())
        if (!take_line().empty()) {
            line_ = empty_line;
            fail("is an empty line between rows");
        }
}

}  // namespace kurbel::read
