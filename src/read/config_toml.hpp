// The tables [engine], [crank_wheel], [cam_wheel] and [timer], shared by recordings and scenarios.
#pragma once

#include <toml++/toml.h>

#include <initializer_list>
#include <string>

#include "kurbel/core/config.hpp"

namespace kurbel::read {

/// A TOML file being read: gives errors their file and line.
struct TomlFile {
    std::string path;
    toml::table root;
};

/// Parses `path`; throws InputError with the line of the fault. Windows line ends and a byte-order mark are accepted.
[[nodiscard]] TomlFile parse_toml(const std::string& path);

/// Throws InputError at the first key of `table` that is not in `known`; names it, its table and the nearest known key.
void refuse_unknown_keys(const TomlFile& file, const toml::table& table, const std::string& table_name,
                         std::initializer_list<const char*> known);

/// Typed getters: throw InputError naming file, line and "table.key" where the type is wrong or (required) the key is absent.
[[nodiscard]] double number_or(const TomlFile& file, const toml::table& table, const std::string& table_name,
                               const char* key, double fallback);
[[nodiscard]] long long integer_or(const TomlFile& file, const toml::table& table, const std::string& table_name,
                                   const char* key, long long fallback);

/// Each fills one part of the configuration from its table and validates it; throws InputError.
[[nodiscard]] EngineConfig read_engine(const TomlFile& file);
[[nodiscard]] WheelConfig read_crank_wheel(const TomlFile& file);
[[nodiscard]] CamConfig read_cam_wheel(const TomlFile& file, const EngineConfig& engine);  ///< absent: no edges
[[nodiscard]] TimerConfig read_timer(const TomlFile& file);                                ///< absent: 1e9, 0

/// The four tables as text, in the recording contract's form.
[[nodiscard]] std::string to_toml(const Config& config);

}  // namespace kurbel::read
