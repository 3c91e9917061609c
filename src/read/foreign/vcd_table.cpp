// Value change dumps: IEEE 1364-2005, clause 18. Read as a stream of words; nothing is kept but the variables' names.
#include <charconv>
#include <cmath>
#include <map>
#include <optional>

#include "kurbel/read/input_error.hpp"
#include "read/csv.hpp"
#include "read/decimal.hpp"
#include "read/foreign/line_reader.hpp"
#include "read/foreign/table.hpp"
#include "read/foreign/words.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

constexpr std::size_t kMostVariables = 65536;
constexpr std::size_t kMostDepth = 256;
constexpr std::size_t kMostDescription = 1U << 16U;
constexpr const char* kOwnMark = "kurbel recording";

/// Words between spaces, over any number of lines.
class Words {
  public:
    explicit Words(const std::string& path) : reader_(path) {}

    /// The next word; false at the end of the file. A file that stops within a line was cut off.
    bool next(std::string_view& word) {
        for (;;) {
            const std::size_t from = rest_.find_first_not_of(" \t\r\f\v");
            if (from != std::string_view::npos) {
                rest_.remove_prefix(from);
                word = rest_.substr(0, rest_.find_first_of(" \t\r\f\v"));
                rest_.remove_prefix(word.size());
                if (rest_.empty() && !reader_.ended()) fail("stops within a line: it seems to be cut off");
                return true;
            }
            if (!reader_.ended()) fail("stops within a line: it seems to be cut off");
            if (!reader_.next(rest_)) return false;
        }
    }
    std::string_view must(const char* where) {
        std::string_view word;
        if (!next(word)) fail(std::string("ends within ") + where + ": it seems to be cut off");
        return word;
    }
    /// What is left of the present line, and the lines behind it, up to $end; for our own comment, which holds lines.
    [[nodiscard]] std::string until_end() {
        std::string text;
        for (;;) {
            const std::size_t end = rest_.find("$end");
            text += std::string(rest_.substr(0, end)) + "\n";
            if (end != std::string_view::npos) {
                rest_.remove_prefix(end + 4);
                return text;
            }
            if (text.size() > kMostDescription || !reader_.next(rest_)) fail("a $comment has no $end");
        }
    }
    [[nodiscard]] double done() const { return reader_.done(); }
    [[noreturn]] void fail(const std::string& cause) const {
        throw InputError(reader_.path(), reader_.number(), cause);
    }
    [[noreturn]] void fail_at(long line, const std::string& cause) const {
        throw InputError(reader_.path(), line, cause);
    }
    [[nodiscard]] long line() const { return reader_.number(); }

  private:
    LineReader reader_;
    std::string_view rest_;
};

struct Variable {
    std::string path;  ///< "top.engine.crank"
    std::string leaf;  ///< "crank"
    std::string code;
    bool is_event = false;
};

struct Header {
    double unit_s = 0.0;
    std::vector<Variable> variables;
    std::string description;
};

/// "10ns", "10 ns": magnitude 1, 10 or 100; s, ms, us, ns, ps or fs.
double parse_timescale(Words& words) {
    std::string text(words.must("$timescale"));
    for (std::string_view word = words.must("$timescale"); word != "$end"; word = words.must("$timescale"))
        text += word;
    const std::size_t unit = text.find_first_not_of("0123456789");
    const std::string number = text.substr(0, unit);
    const std::string name = unit == std::string::npos ? "" : text.substr(unit);
    const double magnitude = number == "1" ? 1.0 : number == "10" ? 10.0 : number == "100" ? 100.0 : 0.0;
    const std::map<std::string, double> units{{"s", 1.0},   {"ms", 1e-3},  {"us", 1e-6},
                                              {"ns", 1e-9}, {"ps", 1e-12}, {"fs", 1e-15}};
    const auto found = units.find(name);
    if (magnitude == 0.0 || found == units.end())
        words.fail("$timescale must be 1, 10 or 100 of s, ms, us, ns, ps or fs, not " + shown(text));
    return magnitude * found->second;
}

void skip_to_end(Words& words, const char* where) {
    while (words.must(where) != "$end") continue;
}

Variable parse_variable(Words& words, const std::string& scope) {
    Variable variable;
    variable.is_event = words.must("$var") == "event";
    (void)words.must("$var");  // width
    variable.code = words.must("$var");
    for (std::string_view word = words.must("$var"); word != "$end"; word = words.must("$var"))
        if (word[0] != '[' || variable.leaf.empty()) variable.leaf += word;  // a bit range is no part of the name
    variable.path = scope + variable.leaf;
    return variable;
}

void parse_comment(Words& words, Header& header) {
    const std::string text = words.until_end();
    const std::size_t mark = text.find(kOwnMark);
    if (mark != std::string::npos) header.description = text.substr(text.find('\n', mark) + 1);
}

Header parse_header(Words& words) {
    Header header;
    std::vector<std::string> scopes;
    const auto scope = [&] {
        std::string text;
        for (const std::string& name : scopes) text += name + ".";
        return text;
    };
    for (std::string_view word = words.must("the header"); word != "$enddefinitions"; word = words.must("the header")) {
        if (word == "$timescale") {
            header.unit_s = parse_timescale(words);
        } else if (word == "$scope") {
            (void)words.must("$scope");
            scopes.emplace_back(words.must("$scope"));
            skip_to_end(words, "$scope");
            if (scopes.size() > kMostDepth) words.fail("scopes lie within each other more than 256 deep");
        } else if (word == "$upscope") {
            if (scopes.empty()) words.fail("$upscope without a $scope");
            scopes.pop_back();
            skip_to_end(words, "$upscope");
        } else if (word == "$var") {
            header.variables.push_back(parse_variable(words, scope()));
            if (header.variables.size() > kMostVariables) words.fail("declares more than 65536 variables");
        } else if (word == "$comment") {
            parse_comment(words, header);
        } else if (word[0] == '$') {
            skip_to_end(words, "the header");
        } else {
            words.fail("is no value change dump: " + shown(word) + " stands before $enddefinitions");
        }
    }
    skip_to_end(words, "$enddefinitions");
    if (header.unit_s == 0.0) words.fail("names no $timescale");
    return header;
}

std::vector<std::string> names_of(const Header& header) {
    std::map<std::string, int> leaves;
    for (const Variable& variable : header.variables) ++leaves[variable.leaf];
    std::vector<std::string> names;
    for (const Variable& variable : header.variables)
        names.push_back(leaves[variable.leaf] == 1 ? variable.leaf : variable.path);
    return names;
}

/// Each change of a variable that was wished for is a row. Rows hold NaN for every other one.
class VcdTable : public Table {
  public:
    VcdTable(const std::string& path, std::vector<Wish> wishes)
        : path_(path), words_(path), header_(parse_header(words_)), wishes_(std::move(wishes)) {
        const std::vector<std::string> names = names_of(header_);
        for (std::size_t i = 0; i < wishes_.size(); ++i)
            if (wishes_[i].kind == WishKind::number)
                by_code_[header_.variables[place(names, wishes_[i].column)].code] = i;
    }

    bool next(Block& block) override {
        block.clear(wishes_.size());
        lines_.clear();
        std::string_view word;
        while (block.rows < kBlockRows && words_.next(word)) take(word, block);
        return block.rows > 0;
    }
    [[nodiscard]] double done() const override { return words_.done(); }
    [[noreturn]] void fail(std::size_t row, const std::string& cause) const override {
        words_.fail_at(row < lines_.size() ? lines_[row] : words_.line(), cause);
    }

  private:
    [[nodiscard]] std::size_t place(const std::vector<std::string>& names, const std::string& name) const {
        for (std::size_t i = 0; i < names.size(); ++i)
            if (header_.variables[i].path == name) return i;
        return place_of(path_, names, name);
    }

    void take(std::string_view word, Block& block) {
        switch (word[0]) {
            case '#': take_time(word.substr(1)); break;
            case '$': take_keyword(word); break;
            case 'b':
            case 'B': change(words_.must("a change"), vector_value(word.substr(1)), block); break;
            case 'r':
            case 'R': change(words_.must("a change"), real_value(word.substr(1)), block); break;
            case '0':
            case '1':
            case 'x':
            case 'X':
            case 'z':
            case 'Z': change(word.substr(1), word[0] == '0' ? 0.0 : word[0] == '1' ? 1.0 : kUnknown, block); break;
            case 's':
            case 'S': (void)words_.must("a change"); break;  // a string, as some writers add; never a level
            default: words_.fail(shown(word) + " is no change of a value");
        }
    }

    void take_time(std::string_view text) {
        const std::optional<std::int64_t> time = whole_number(text);
        if (!time || *time < 0)
            words_.fail("the time #" + std::string(text.substr(0, 30)) + " is no whole number below 2^63");
        if (*time < time_)
            words_.fail("time runs backwards: #" + std::to_string(*time) + " behind #" + std::to_string(time_));
        time_ = *time;
    }

    void take_keyword(std::string_view word) {
        if (word == "$comment") skip_to_end(words_, "$comment");
        const bool known = word == "$comment" || word == "$dumpvars" || word == "$dumpon" || word == "$dumpoff" ||
                           word == "$dumpall" || word == "$end";
        if (!known) words_.fail(shown(word) + " is unknown behind $enddefinitions");
    }

    /// Bits as a number; unknown bits make it unknown.
    static double vector_value(std::string_view bits) {
        double value = 0.0;
        for (const char bit : bits)
            value = bit == '0' || bit == '1' ? 2.0 * value + (bit == '1' ? 1.0 : 0.0) : kUnknown;
        return value;
    }
    double real_value(std::string_view text) const {
        const std::optional<double> value = finite_number(text);
        if (!value && text != "nan" && text != "NaN") words_.fail(shown(text) + " is no number");
        return value ? *value : kUnknown;
    }

    void change(std::string_view code, double value, Block& block) {
        code_.assign(code);
        const auto found = by_code_.find(code_);
        if (found == by_code_.end()) {
            if (codes_.empty())
                for (const Variable& variable : header_.variables) codes_[variable.code] = variable.is_event;
            if (codes_.find(code_) == codes_.end()) words_.fail("changes " + shown(code) + ", which no $var declares");
            return;
        }
        if (is_event(found->second))
            add_row(found->second, 0.0, block);  // an event is a point in time: up and down at once
        add_row(found->second, value, block);
    }

    [[nodiscard]] bool is_event(std::size_t wish) {
        if (events_.empty()) {
            events_.assign(wishes_.size(), false);
            for (const Variable& variable : header_.variables)
                if (const auto found = by_code_.find(variable.code); found != by_code_.end())
                    events_[found->second] = variable.is_event;
        }
        return events_[wish];
    }

    void add_row(std::size_t wish, double value, Block& block) {
        for (std::size_t i = 0; i < wishes_.size(); ++i) {
            if (wishes_[i].kind == WishKind::number) block.numbers[i].push_back(i == wish ? value : kUnknown);
            if (wishes_[i].kind == WishKind::time) block.integers[i].push_back(tick(wishes_[i].scale.hz));
        }
        lines_.push_back(words_.line());
        ++block.rows;
    }

    /// Present time as a tick of a clock of `hz`. Whole seconds apart, so that no digit of a long recording is lost.
    [[nodiscard]] std::int64_t tick(double hz) const {
        const double per_second = std::round(1.0 / header_.unit_s);
        if (per_second < 1.0 || header_.unit_s >= 1.0)
            return static_cast<std::int64_t>(static_cast<double>(time_) * header_.unit_s * hz);
        const auto units = static_cast<std::int64_t>(per_second);
        const double seconds = static_cast<double>(time_ / units) * hz;
        const double ticks = std::round(static_cast<double>(time_ % units) * hz / per_second);
        if (!(seconds + ticks < static_cast<double>(kMostTicks))) words_.fail("its time is beyond all measure");
        return static_cast<std::int64_t>(seconds) + static_cast<std::int64_t>(ticks);
    }

    std::string path_;
    Words words_;
    Header header_;
    std::vector<Wish> wishes_;
    std::map<std::string, std::size_t> by_code_;
    std::map<std::string, bool> codes_;
    std::vector<bool> events_;
    std::vector<long> lines_;
    std::string code_;
    std::int64_t time_ = 0;
};

}  // namespace

std::unique_ptr<Table> open_vcd(const std::string& path, std::vector<Wish> wishes) {
    return std::make_unique<VcdTable>(path, std::move(wishes));
}

FileContents look_into_vcd(const std::string& path) {
    Words words(path);
    const Header header = parse_header(words);
    FileContents contents;
    contents.columns = names_of(header);
    contents.description = header.description;
    contents.time_unit = header.unit_s < 0.9e-9 ? "ps" : "ns";
    return contents;
}

}  // namespace kurbel::read
