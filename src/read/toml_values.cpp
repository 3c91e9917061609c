// Parsing and the typed getters: every complaint names file, line, table.key and what would have been right.
#include <algorithm>
#include <cmath>
#include <optional>
#include <string_view>

#include "kurbel/read/input_error.hpp"
#include "read/config_toml.hpp"
#include "read/csv.hpp"
#include "read/nearest_word.hpp"

namespace kurbel::read {

namespace {

std::string full_name(const std::string& table_name, const std::string& key) {
    return table_name.empty() ? key : table_name + "." + key;
}

/// Finite value of an integer or floating-point node.
std::optional<double> finite_number(const toml::node& node) {
    const std::optional<double> value = node.is_number() ? node.value<double>() : std::nullopt;
    return value && std::isfinite(*value) ? value : std::nullopt;
}

/// Applies `convert` to each entry of the list under `key`; an entry that it refuses is an error at its own line.
template <class T, class Convert>
std::vector<T> list_or_none(const TomlFile& file, const toml::table& table, const std::string& table_name,
                            const char* key, const char* what, Convert convert) {
    const toml::node* node = table.get(key);
    if (node == nullptr) return {};
    const toml::array* list = node->as_array();
    if (list == nullptr) fail_key(file, table, table_name, key, std::string("must be a list of ") + what);
    std::vector<T> values;
    for (const toml::node& entry : *list) {
        const std::optional<T> value = convert(entry);
        if (!value)
            fail_at(file, entry,
                    full_name(table_name, key) + ": must be a list of " + what + "; entry " +
                        std::to_string(values.size() + 1) + " is not");
        values.push_back(*value);
    }
    return values;
}

}  // namespace

TomlFile parse_toml_text(const std::string& text, const std::string& path) {
    try {
        return {path, toml::parse(std::string_view(text), path)};
    } catch (const toml::parse_error& error) {
        throw InputError(path, static_cast<long>(error.source().begin.line), std::string(error.description()));
    }
}

TomlFile parse_toml(const std::string& path) {
    // Descriptions, mappings and scenarios are written by people; the largest of them hold some thousand lines.
    constexpr std::int64_t kMostBytes = std::int64_t{4} << 20;
    return parse_toml_text(read_file(path, kMostBytes), path);
}

const std::string& path_of(const TomlFile& file, const toml::source_region& place) {
    return place.path ? *place.path : file.path;
}

void fail_at(const TomlFile& file, const toml::node& node, const std::string& cause) {
    throw InputError(path_of(file, node.source()), static_cast<long>(node.source().begin.line), cause);
}

void fail_key(const TomlFile& file, const toml::table& table, const std::string& table_name, const std::string& key,
              const std::string& cause) {
    const toml::node* node = table.get(key);
    fail_at(file, node == nullptr ? static_cast<const toml::node&>(table) : *node,
            full_name(table_name, key) + ": " + cause);
}

void refuse_unknown_keys(const TomlFile& file, const toml::table& table, const std::string& table_name,
                         std::initializer_list<const char*> known) {
    for (const auto& [key, node] : table) {
        const std::string_view word = key.str();
        if (std::any_of(known.begin(), known.end(), [&](std::string_view name) { return name == word; })) continue;
        const std::string guess = nearest_word(word, {known.begin(), known.end()});
        // The key's own place: a table's node would point at its header, a value's at the value, both on this line.
        throw InputError(path_of(file, key.source()), static_cast<long>(key.source().begin.line),
                         "unknown key " + full_name(table_name, std::string(word)) + "; the nearest known one is " +
                             full_name(table_name, guess));
    }
}

const toml::table* find_table(const TomlFile& file, const char* name) {
    const toml::node* node = file.root.get(name);
    if (node == nullptr) return nullptr;
    const toml::table* table = node->as_table();
    if (table == nullptr) fail_at(file, *node, std::string(name) + " must be a table: [" + name + "]");
    return table;
}

double number_or(const TomlFile& file, const toml::table& table, const std::string& table_name, const char* key,
                 double fallback) {
    const toml::node* node = table.get(key);
    if (node == nullptr) return fallback;
    const std::optional<double> value = finite_number(*node);
    if (!value) fail_key(file, table, table_name, key, "must be a finite number");
    return *value;
}

long long integer_or(const TomlFile& file, const toml::table& table, const std::string& table_name, const char* key,
                     long long fallback) {
    const toml::node* node = table.get(key);
    if (node == nullptr) return fallback;
    const std::optional<std::int64_t> value = node->value_exact<std::int64_t>();
    if (!value) fail_key(file, table, table_name, key, "must be a whole number");
    return *value;
}

bool boolean_or(const TomlFile& file, const toml::table& table, const std::string& table_name, const char* key,
                bool fallback) {
    const toml::node* node = table.get(key);
    if (node == nullptr) return fallback;
    const std::optional<bool> value = node->value_exact<bool>();
    if (!value) fail_key(file, table, table_name, key, "must be true or false");
    return *value;
}

std::string text_or(const TomlFile& file, const toml::table& table, const std::string& table_name, const char* key,
                    const std::string& fallback) {
    const toml::node* node = table.get(key);
    if (node == nullptr) return fallback;
    const std::optional<std::string> value = node->value_exact<std::string>();
    if (!value) fail_key(file, table, table_name, key, "must be a text in quotes");
    return *value;
}

std::vector<double> numbers_or_none(const TomlFile& file, const toml::table& table, const std::string& table_name,
                                    const char* key) {
    return list_or_none<double>(file, table, table_name, key, "finite numbers", finite_number);
}

std::vector<long long> integers_or_none(const TomlFile& file, const toml::table& table, const std::string& table_name,
                                        const char* key) {
    return list_or_none<long long>(file, table, table_name, key, "whole numbers",
                                   [](const toml::node& node) -> std::optional<long long> {
                                       const std::optional<std::int64_t> value = node.value_exact<std::int64_t>();
                                       return value ? std::optional<long long>(*value) : std::nullopt;
                                   });
}

double required_number(const TomlFile& file, const toml::table& table, const std::string& table_name, const char* key) {
    if (table.get(key) == nullptr) fail_key(file, table, table_name, key, "is missing");
    return number_or(file, table, table_name, key, kUnknown);
}

long long required_integer(const TomlFile& file, const toml::table& table, const std::string& table_name,
                           const char* key) {
    if (table.get(key) == nullptr) fail_key(file, table, table_name, key, "is missing");
    return integer_or(file, table, table_name, key, 0);
}

void require(const TomlFile& file, const Status& status) {
    if (status) return;
    const std::string parameter = status.parameter;
    const toml::node* place = &file.root;
    const std::string table_name = parameter.substr(0, parameter.find('.'));
    if (const toml::node* node = file.root.get(table_name)) place = node;
    if (const toml::table* table = place->as_table(); table != nullptr && table_name.size() < parameter.size())
        if (const toml::node* node = table->get(parameter.substr(table_name.size() + 1))) place = node;
    fail_at(file, *place, parameter + ": " + status.why);
}

}  // namespace kurbel::read
