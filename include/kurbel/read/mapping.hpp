// Which column of a foreign file means what: told on the command line, or in a small TOML file beside it.
#pragma once

#include <string>
#include <variant>
#include <vector>

#include "kurbel/core/types.hpp"

namespace kurbel::read {

/// The mapping of one file. Every member is a key of the TOML file and an option of `kurbel convert`, under the same name
/// (`time_unit` and `--time-unit`); mapping_keys() tells what each means. Empty texts and zeros stand for "not given".
/// A column is named as the file names it, or by its place: "#1" is the first.
struct Mapping {
    std::string format;
    std::string content;
    std::string crank;
    std::string cam;
    std::string signal;
    std::string value;
    std::string time;
    std::string time_unit;
    double timer_hz = 0.0;
    int timer_bits = 0;
    double rate_hz = 0.0;
    std::string sensor;
    std::string cam_sensor;
    std::string flank;
    std::string cam_flank;
    std::string delimiter;
    std::string decimal;
    int header_line = 0;
    int first_line = 0;
    std::string load;
    std::string load_unit;
    std::string load_time;
    double full_load = 0.0;
    double barometric_kpa = 0.0;
    double throttle_bore_mm = 0.0;
    std::string fuel_cut;
    std::string fuel_cut_time;
    std::string coolant_c;
    std::string coolant_time;
    std::string vehicle_kmh;
    std::string vehicle_time;
    double channel_interval_s = -1.0;
    double channel_offset_s = 0.0;
    double channel_drift = 0.0;
};

/// One key of a mapping.
struct MappingKey {
    const char* name;
    std::variant<std::string Mapping::*, double Mapping::*, int Mapping::*> member;
    const char* what;                ///< for help texts
    const char* type;                ///< "NAME", "HZ": what a value is
    std::vector<const char*> words;  ///< the words that it may be; empty: any
    double low = 0.0;                ///< limits of a number
    double high = 0.0;
};

/// All keys, in the order in which help texts list them.
[[nodiscard]] const std::vector<MappingKey>& mapping_keys();

/// The file in which the mapping of `input` is looked for: its name with ".kurbel.toml" behind it.
[[nodiscard]] std::string mapping_path(const std::string& input);

/// Reads the keys of a mapping file. Tables ([engine], [crank_wheel], [cam_wheel]) describe the engine as in recording.toml and
/// are not looked at here. Throws InputError (file, line, cause).
[[nodiscard]] Mapping read_mapping(const std::string& path);

}  // namespace kurbel::read
