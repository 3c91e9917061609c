// Delimited text, row by row.
#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "kurbel/read/input_error.hpp"
#include "read/csv.hpp"
#include "read/decimal.hpp"
#include "read/foreign/line_reader.hpp"
#include "read/foreign/table.hpp"
#include "read/foreign/text_layout.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

class TextTable : public Table {
  public:
    TextTable(const std::string& path, const Mapping& mapping, std::vector<Wish> wishes)
        : layout_(find_layout(path, mapping)), wishes_(std::move(wishes)), reader_(path) {
        for (const Wish& wish : wishes_) {
            if (wish.column.empty())
                throw InputError(path, 0, "has no times beside its columns: name one with time, or give rate_hz");
            places_.push_back(column_of(path, layout_, wish.column));
        }
        needed_ = *std::max_element(places_.begin(), places_.end()) + 1;
    }

    bool next(Block& block) override {
        block.clear(wishes_.size());
        lines_.clear();
        for (std::string_view line; block.rows < kBlockRows && reader_.next(line);) {
            if (reader_.number() < layout_.first_line) continue;
            const std::size_t text = line.find_first_not_of(" \t");
            if (text == std::string_view::npos || line[text] == '#') continue;
            lines_.push_back(reader_.number());
            take_row(line, block);
            ++block.rows;
        }
        return block.rows > 0;
    }

    [[nodiscard]] double done() const override { return reader_.done(); }

    [[noreturn]] void fail(std::size_t row, const std::string& cause) const override {
        throw InputError(reader_.path(), row < lines_.size() ? lines_[row] : reader_.number(), cause);
    }

  private:
    void take_row(std::string_view line, Block& block) {
        split_fields(line, layout_.delimiter, needed_, fields_);
        if (fields_.size() < needed_)
            fail(block.rows, "has " + std::to_string(fields_.size()) + " of at least " + std::to_string(needed_) +
                                 " fields" + (reader_.ended() ? "" : "; the file seems to be cut off here"));
        for (std::size_t i = 0; i < wishes_.size(); ++i) {
            const std::string_view field = fields_[places_[i]];
            switch (wishes_[i].kind) {
                case WishKind::number: block.numbers[i].push_back(number(i, field, block.rows)); break;
                case WishKind::time: block.integers[i].push_back(time(i, field, block.rows)); break;
                case WishKind::word: block.integers[i].push_back(word(wishes_[i], field)); break;
            }
        }
    }

    double number(std::size_t i, std::string_view field, std::size_t row) {
        if (field.empty()) return kUnknown;
        const std::optional<double> value = finite_number(with_point(field, layout_.decimal_comma, buffer_));
        if (!value) fail_field(i, row, "must be a number", field);
        return *value;
    }

    std::int64_t time(std::size_t i, std::string_view field, std::size_t row) {
        if (field.empty()) return kNoTime;
        const TimeScale& scale = wishes_[i].scale;
        const std::string_view text = with_point(field, layout_.decimal_comma, buffer_);
        std::int64_t tick = 0;
        if (scale.factor == 1.0) {
            const std::optional<std::int64_t> exact = scaled_decimal(text, scale.digits, Rounding::nearest);
            if (!exact || *exact < -kMostTicks || *exact > kMostTicks) fail_field(i, row, "must be a time", field);
            return *exact;
        }
        const std::optional<double> value = finite_number(text);
        if (!value || !to_tick(scale, *value, tick)) fail_field(i, row, "must be a time", field);
        return tick;
    }

    static std::int64_t word(const Wish& wish, std::string_view field) {
        const auto found = std::find(wish.words.begin(), wish.words.end(), field);
        return found == wish.words.end() ? -1 : found - wish.words.begin();
    }

    [[noreturn]] void fail_field(std::size_t i, std::size_t row, const std::string& cause,
                                 std::string_view field) const {
        TextTable::fail(row, layout_.columns[places_[i]] + ": " + cause + ", not " + shown(field) +
                                 (reader_.ended() ? "" : "; the file seems to be cut off here"));
    }

    TextLayout layout_;
    std::vector<Wish> wishes_;
    LineReader reader_;
    std::vector<std::size_t> places_;
    std::size_t needed_ = 0;
    std::vector<std::string_view> fields_;
    std::vector<long> lines_;
    std::string buffer_;
};

/// The unit of a column of times in our words; empty where it is none of them.
std::string known_unit(const std::string& unit) {
    constexpr std::array<std::array<const char*, 2>, 12> kUnits{{{"s", "s"},
                                                                 {"sec", "s"},
                                                                 {"ms", "ms"},
                                                                 {"us", "us"},
                                                                 {"\xC2\xB5s", "us"},
                                                                 {"\xCE\xBCs", "us"},
                                                                 {"ns", "ns"},
                                                                 {"min", "min"},
                                                                 {"h", "h"},
                                                                 {"msec", "ms"},
                                                                 {"usec", "us"},
                                                                 {"S", "s"}}};
    for (const auto& [name, known] : kUnits)
        if (unit == name) return known;
    return "";
}

}  // namespace

std::unique_ptr<Table> open_text(const std::string& path, const Mapping& mapping, std::vector<Wish> wishes) {
    return std::make_unique<TextTable>(path, mapping, std::move(wishes));
}

FileContents look_into_text(const std::string& path, const Mapping& mapping) {
    TextLayout layout = find_layout(path, mapping);
    FileContents contents;
    const std::string& time = mapping.time.empty() ? mapping.crank : mapping.time;
    if (!time.empty()) contents.time_unit = known_unit(layout.units[column_of(path, layout, time)]);
    contents.columns = std::move(layout.columns);
    return contents;
}

}  // namespace kurbel::read
