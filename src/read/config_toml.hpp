// Strict reading of TOML: the tables [engine], [crank_wheel], [cam_wheel] and [timer], shared by recordings and
// scenarios, and the getters that scenario files use for their own tables. All of it throws InputError.
#pragma once

// toml++ 3.3 asserts what a file may well break ("[+a]"), and without assertions lets clang assume it. The error that it gives for
// the same stands right behind, so assertions are taken out, whatever the build.
#pragma push_macro("NDEBUG")
#undef NDEBUG
#define TOML_ASSERT(condition) static_assert(true)
#include <toml++/toml.h>
#pragma pop_macro("NDEBUG")

#include <initializer_list>
#include <string>
#include <vector>

#include "kurbel/core/config.hpp"

namespace kurbel::read {

/// A TOML file being read: gives errors their file and line.
struct TomlFile {
    std::string path;
    toml::table root;
};

/// Parses `path`; throws InputError with the line of the fault. Windows line ends and a byte-order mark are accepted.
[[nodiscard]] TomlFile parse_toml(const std::string& path);

/// As parse_toml, from text already in memory; `path` is used in messages alone.
[[nodiscard]] TomlFile parse_toml_text(const std::string& text, const std::string& path);

/// File that `place` lies in: a scenario may hold parts of another file. `file` itself where that is not known.
[[nodiscard]] const std::string& path_of(const TomlFile& file, const toml::source_region& place);

/// Throws InputError "FILE:LINE: cause" for the place where `node` stands.
[[noreturn]] void fail_at(const TomlFile& file, const toml::node& node, const std::string& cause);

/// Throws InputError at the line of `table`'s `key`, or of the table where the key is absent: "table.key cause".
[[noreturn]] void fail_key(const TomlFile& file, const toml::table& table, const std::string& table_name,
                           const std::string& key, const std::string& cause);

/// Throws InputError at the first key of `table` that is not in `known`; names it, its table and the nearest known key.
/// `table_name` is "" for the root.
void refuse_unknown_keys(const TomlFile& file, const toml::table& table, const std::string& table_name,
                         std::initializer_list<const char*> known);

/// Table `name` of the root, or null where it is absent; throws where the key holds something else.
[[nodiscard]] const toml::table* find_table(const TomlFile& file, const char* name);

/// Typed getters: throw InputError naming file, line and "table.key" where the type is wrong. A number must be finite.
[[nodiscard]] double number_or(const TomlFile& file, const toml::table& table, const std::string& table_name,
                               const char* key, double fallback);
[[nodiscard]] long long integer_or(const TomlFile& file, const toml::table& table, const std::string& table_name,
                                   const char* key, long long fallback);
[[nodiscard]] bool boolean_or(const TomlFile& file, const toml::table& table, const std::string& table_name,
                              const char* key, bool fallback);
[[nodiscard]] std::string text_or(const TomlFile& file, const toml::table& table, const std::string& table_name,
                                  const char* key, const std::string& fallback);
/// Empty where the key is absent.
[[nodiscard]] std::vector<double> numbers_or_none(const TomlFile& file, const toml::table& table,
                                                  const std::string& table_name, const char* key);
[[nodiscard]] std::vector<long long> integers_or_none(const TomlFile& file, const toml::table& table,
                                                      const std::string& table_name, const char* key);

/// As number_or and integer_or, for keys that must be there.
[[nodiscard]] double required_number(const TomlFile& file, const toml::table& table, const std::string& table_name,
                                     const char* key);
[[nodiscard]] long long required_integer(const TomlFile& file, const toml::table& table, const std::string& table_name,
                                         const char* key);

/// Throws where `status` is not ok, at the line of the key that status.parameter ("engine.firing_order") names.
void require(const TomlFile& file, const Status& status);

/// Each fills one part of the configuration from its table and validates it; throws InputError.
[[nodiscard]] EngineConfig read_engine(const TomlFile& file);
[[nodiscard]] WheelConfig read_crank_wheel(const TomlFile& file);
[[nodiscard]] CamConfig read_cam_wheel(const TomlFile& file, const EngineConfig& engine);  ///< absent: no edges
[[nodiscard]] TimerConfig read_timer(const TomlFile& file);                                ///< absent: 1e9, 0

/// [crank_wheel] as text, in the recording contract's form.
[[nodiscard]] std::string wheel_toml(const WheelConfig& wheel);

/// The four tables as text, in the recording contract's form; unknown values are left out. The text reads back to the
/// same Config (settings apart). [timer] is written where `with_timer`.
[[nodiscard]] std::string to_toml(const Config& config, bool with_timer = true);

}  // namespace kurbel::read
