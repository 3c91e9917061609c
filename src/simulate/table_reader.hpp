// Reads one table of a scenario file field by field, checks ranges, and refuses what nobody asked for.
#pragma once

#include <algorithm>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include "kurbel/read/input_error.hpp"
#include "kurbel/simulate/profile.hpp"
#include "read/config_toml.hpp"

namespace kurbel::simulate {

class TableReader {
  public:
    TableReader(const read::TomlFile& file, const toml::table& table, std::string name)
        : file_(file), table_(table), name_(std::move(name)) {}

    void number(const char* key, double& value, double low, double high) {
        known_.push_back(key);
        if (!has(key)) return;
        value = read::number_or(file_, table_, name_, key, value);
        check(key, value, low, high);
    }

    /// A key in microseconds for a value in seconds.
    void microseconds(const char* key, double& value_s, double low_us, double high_us) {
        double value_us = 1e6 * value_s;
        number(key, value_us, low_us, high_us);
        if (has(key)) value_s = 1e-6 * value_us;
    }

    template <class Integer>
    void integer(const char* key, Integer& value, long long low, long long high) {
        known_.push_back(key);
        if (!has(key)) return;
        const long long read = read::integer_or(file_, table_, name_, key, static_cast<long long>(value));
        check(key, static_cast<double>(read), static_cast<double>(low), static_cast<double>(high));
        value = static_cast<Integer>(read);
    }

    void boolean(const char* key, bool& value) {
        known_.push_back(key);
        value = read::boolean_or(file_, table_, name_, key, value);
    }

    void numbers(const char* key, std::vector<double>& values, double low, double high, int most) {
        known_.push_back(key);
        if (!has(key)) return;
        values = read::numbers_or_none(file_, table_, name_, key);
        if (static_cast<int>(values.size()) > most) fail(key, "has more entries than there are cylinders");
        for (const double value : values) check(key, value, low, high);
    }

    void cylinders(const char* key, std::vector<int>& values, int most) {
        known_.push_back(key);
        if (!has(key)) return;
        values.clear();
        for (const long long value : read::integers_or_none(file_, table_, name_, key)) {
            check(key, static_cast<double>(value), 1, most);
            values.push_back(static_cast<int>(value));
        }
    }

    /// One of `names`; its place in the list becomes the value.
    template <class Enum>
    void choice(const char* key, Enum& value, const std::vector<std::string>& names) {
        known_.push_back(key);
        const auto now = static_cast<std::size_t>(value);
        const std::string word = read::text_or(file_, table_, name_, key, names.at(now));
        const auto found = std::find(names.begin(), names.end(), word);
        if (found == names.end()) {
            std::string all;
            for (const std::string& name : names) all += (all.empty() ? "" : ", ") + name;
            fail(key, "must be one of: " + all);
        }
        value = static_cast<Enum>(found - names.begin());
    }

    /// A number, or a list of [seconds, value] in order of time.
    void profile(const char* key, Profile& profile, double low, double high) {
        known_.push_back(key);
        const toml::node* node = table_.get(key);
        if (node == nullptr) return;
        if (node->is_number()) {
            double value = 0.0;
            value = read::number_or(file_, table_, name_, key, value);
            check(key, value, low, high);
            profile = Profile(value);
            return;
        }
        profile = Profile(points(key, *node, low, high));
    }

    /// Call last: throws at the first key that no call above named.
    void done() const {
        for (const auto& [key, node] : table_) {
            const std::string_view word = key.str();
            if (std::find(known_.begin(), known_.end(), word) != known_.end()) continue;
            std::string all;
            for (const std::string& name : known_) all += (all.empty() ? "" : ", ") + name;
            throw read::InputError(read::path_of(file_, key.source()), static_cast<long>(key.source().begin.line),
                                   "unknown key " + name_ + "." + std::string(word) + "; known here: " + all);
        }
    }

    [[nodiscard]] bool has(const char* key) const { return table_.get(key) != nullptr; }

    [[noreturn]] void fail(const char* key, const std::string& cause) const {
        read::fail_key(file_, table_, name_, key, cause);
        throw read::InputError(file_.path, 0, cause);  // not reached; fail_key throws
    }

  private:
    void check(const char* key, double value, double low, double high) const {
        if (value >= low && value <= high) return;
        std::ostringstream text;
        text.imbue(std::locale::classic());
        text << "must lie in " << low << " to " << high;
        fail(key, text.str());
    }

    [[nodiscard]] std::vector<std::pair<double, double>> points(const char* key, const toml::node& node, double low,
                                                                double high) const {
        const char* shape = "must be a number or a list of [seconds, value] in order of time";
        const toml::array* list = node.as_array();
        if (list == nullptr || list->empty()) fail(key, shape);
        std::vector<std::pair<double, double>> result;
        for (const toml::node& entry : *list) {
            const toml::array* pair = entry.as_array();
            if (pair == nullptr || pair->size() != 2) fail(key, shape);
            const auto time = (*pair)[0].value<double>();
            const auto value = (*pair)[1].value<double>();
            if (!time || !value || !(*time == *time)) fail(key, shape);
            if (!result.empty() && *time < result.back().first) fail(key, shape);
            check(key, *value, low, high);
            result.emplace_back(*time, *value);
        }
        return result;
    }

    const read::TomlFile& file_;
    const toml::table& table_;
    std::string name_;
    std::vector<std::string> known_;
};

/// Times that no recording reaches.
inline constexpr double kForever = 1e9;

/// Calls `read` with a reader of table `name` where the file has it.
template <class Function>
void with_table(const read::TomlFile& file, const char* name, Function read) {
    const toml::table* table = read::find_table(file, name);
    if (table == nullptr) return;
    TableReader reader(file, *table, name);
    read(reader);
    reader.done();
}

/// The same for each table of [[name]].
template <class Function>
void with_each(const read::TomlFile& file, const char* name, Function read) {
    const toml::node* node = file.root.get(name);
    if (node == nullptr) return;
    const toml::array* list = node->as_array();
    const std::string shape = std::string(name) + " must be a list of tables: [[" + name + "]]";
    if (list == nullptr) read::fail_at(file, *node, shape);
    for (const toml::node& entry : *list) {
        const toml::table* table = entry.as_table();
        if (table == nullptr) read::fail_at(file, entry, shape);
        TableReader reader(file, *table, name);
        read(reader);
        reader.done();
    }
}

}  // namespace kurbel::simulate
