// Comma-separated tables with one header line, read whole and walked row by row.
#pragma once

#include <cstdint>
#include <initializer_list>
#include <limits>
#include <string>
#include <string_view>
#include <vector>

namespace kurbel::read {

/// The bytes of a regular file; throws InputError where it cannot be read, or holds more than `most_bytes`.
[[nodiscard]] std::string read_file(const std::string& path,
                                    std::int64_t most_bytes = std::numeric_limits<std::int64_t>::max());

/// Text of a foreign file made fit for a message: short, in quotes, printable ASCII alone.
[[nodiscard]] std::string shown(std::string_view text);

/// Walks one table. A byte-order mark, Windows line ends, spaces around fields, fields in double quotes and empty lines at
/// the end are accepted. Views that it gives out live as long as the table.
class CsvTable {
  public:
    /// Reads the file and its header; throws InputError where the file is missing or empty, or a column stands twice.
    explicit CsvTable(const std::string& path);
    CsvTable(const CsvTable&) = delete;
    CsvTable& operator=(const CsvTable&) = delete;

    [[nodiscard]] const std::vector<std::string_view>& columns() const noexcept { return columns_; }
    /// Place of a column; -1 where the table has none of this name.
    [[nodiscard]] int find(std::string_view column) const noexcept;
    /// Place of a column that must be there; throws InputError naming the columns that are.
    [[nodiscard]] int require(const char* column) const;

    /// Moves to the next row; false at the end. Throws InputError where it has not as many fields as the header.
    bool next();
    [[nodiscard]] std::string_view field(int column) const noexcept {
        return fields_[static_cast<std::size_t>(column)];
    }

    /// A field as a number: throws InputError unless it is finite and within [low, high].
    [[nodiscard]] double number(int column, double low, double high) const;
    /// A field that must be 0 or 1.
    [[nodiscard]] bool flag(int column) const;
    /// Throws InputError at the present row.
    [[noreturn]] void fail(const std::string& cause) const;
    /// Complaint about one field of the present row: "COLUMN: cause, not "text"".
    [[noreturn]] void fail_field(int column, const std::string& cause) const;

    [[nodiscard]] std::size_t bytes() const noexcept { return text_.size(); }

  private:
    void split(std::string_view line, std::vector<std::string_view>& fields) const;
    std::string_view take_line() noexcept;
    void check_rest_is_empty();

    std::string path_;
    std::string text_;
    std::string_view rest_;
    std::vector<std::string_view> columns_;
    std::vector<std::string_view> fields_;
    long line_ = 0;
    bool quotes_ = false;
};

}  // namespace kurbel::read
