#include "kurbel/read/mapping.hpp"

#include <algorithm>
#include <climits>

#include "kurbel/read/input_error.hpp"
#include "read/config_toml.hpp"
#include "read/foreign/words.hpp"

namespace kurbel::read {

const std::vector<MappingKey>& mapping_keys() {
    using M = Mapping;
    static const std::vector<MappingKey> keys{
        {"format",
         &M::format,
         "What kind of file it is; default: what its first bytes and its name say",
         "WORD",
         {"text", "wav", "vcd", "npz", "hdf5", "parquet", "mdf"}},
        {"crank", &M::crank, "The crank sensor's column, channel or array", "NAME", {}},
        {"cam", &M::cam, "The cam sensor's, where there is one", "NAME", {}},
        {"content",
         &M::content,
         "What these hold. edges: the time of each edge; waveform: even samples of a voltage; levels: a digital\n"
         "signal at the times at which it was seen. Default: levels in VCD; waveform in WAV and MDF and where\n"
         "time or rate_hz is given; else edges",
         "WORD",
         {"edges", "waveform", "levels"}},
        {"signal",
         &M::signal,
         "A column that says of each row what was seen; crank and cam are then the words that stand in it\n"
         "(default crank, cam) and time is the edge's time",
         "NAME",
         {}},
        {"value",
         &M::value,
         "With signal: the column of values, where rows of channels stand among the edges",
         "NAME",
         {}},
        {"time", &M::time, "The column of times", "NAME", {}},
        {"time_unit",
         &M::time_unit,
         "Unit of times; default: what the file says, else s. ticks: counts of a timer",
         "UNIT",
         {"s", "ms", "us", "ns", "min", "h", "ticks"}},
        {"timer_hz", &M::timer_hz, "Ticks a second, where times are ticks", "HZ", {}, 1e3, 1e12},
        {"timer_bits", &M::timer_bits, "Width of the timer where it wraps", "BITS", {}, 8, 62},
        {"rate_hz",
         &M::rate_hz,
         "Samples a second of a waveform, where neither the file nor its times tell",
         "HZ",
         {},
         1.0,
         1e9},
        {"sensor",
         &M::sensor,
         "Kind of crank sensor behind a waveform; default: found out",
         "WORD",
         {"inductive", "digital"}},
        {"cam_sensor", &M::cam_sensor, "The same for the cam", "WORD", {"inductive", "digital"}},
        {"flank",
         &M::flank,
         "Which flank of the crank sensor's signal is the edge; default: rising for levels, found out for waveforms",
         "WORD",
         {"rising", "falling"}},
        {"cam_flank", &M::cam_flank, "The same for the cam", "WORD", {"rising", "falling"}},
        {"delimiter",
         &M::delimiter,
         "Text: what stands between fields; default: found out",
         "WORD",
         {"comma", "semicolon", "tab", "space", "bar"}},
        {"decimal", &M::decimal, "Text: the decimal sign; default: found out", "WORD", {"point", "comma"}},
        {"header_line",
         &M::header_line,
         "Text: the line that names the columns, from 1; default: found out",
         "LINE",
         {},
         1,
         1e6},
        {"first_line",
         &M::first_line,
         "Text: the first line of numbers, from 1; default: found out",
         "LINE",
         {},
         1,
         1e6},
        {"load", &M::load, "Column of the engine's load", "NAME", {}},
        {"load_unit",
         &M::load_unit,
         "What it is. share: of a full charge, 0 to 1 (default); percent: the same in percent; of_full_load: anything\n"
         "in proportion to the charge, divided by full_load; manifold_kpa, _bar, _mbar, _psi: absolute pressure, over\n"
         "barometric_kpa; air_mg: air a stroke of one cylinder; air_g_s: air flow; throttle_deg, throttle_percent: "
         "how\n"
         "far the plate is open from shut, in percent of its way, with throttle_bore_mm. Air and throttle need bore_mm "
         "and stroke_mm in [engine]",
         "WORD",
         {"share", "percent", "of_full_load", "manifold_kpa", "manifold_bar", "manifold_mbar", "manifold_psi", "air_mg",
          "air_g_s", "throttle_deg", "throttle_percent"}},
        {"full_load",
         &M::full_load,
         "The value of load that is a full charge, with load_unit of_full_load",
         "NUMBER",
         {},
         1e-12,
         1e12},
        {"barometric_kpa",
         &M::barometric_kpa,
         "Air pressure on that day, with load_unit manifold_...; default 101.325",
         "KPA",
         {},
         50.0,
         120.0},
        {"throttle_bore_mm",
         &M::throttle_bore_mm,
         "Bore of the throttle, with load_unit throttle_...",
         "MM",
         {},
         5.0,
         300.0},
        {"load_time", &M::load_time, "Column of the times of load, where they are not those of time", "NAME", {}},
        {"fuel_cut", &M::fuel_cut, "Column that is 1 while fuel is cut, else 0", "NAME", {}},
        {"fuel_cut_time", &M::fuel_cut_time, "Its times, where they are not those of time", "NAME", {}},
        {"coolant_c", &M::coolant_c, "Column of the coolant's temperature in degrees Celsius", "NAME", {}},
        {"coolant_time", &M::coolant_time, "Its times, where they are not those of time", "NAME", {}},
        {"vehicle_kmh", &M::vehicle_kmh, "Column of the vehicle's speed in km/h", "NAME", {}},
        {"vehicle_time", &M::vehicle_time, "Its times, where they are not those of time", "NAME", {}},
        {"channel_interval_s",
         &M::channel_interval_s,
         "Channels are averaged over intervals of this length; default 0.01 beside a waveform, else 0: every value",
         "SECONDS",
         {},
         0.0,
         3600.0},
        {"channel_offset_s",
         &M::channel_offset_s,
         "Channels with a clock of their own: the crank's clock reads channel_offset_s + (1 + channel_drift) times "
         "theirs\n"
         "(kurbel.align_speeds of the Python module finds both from a speed that both clocks saw)",
         "SECONDS",
         {},
         -1e6,
         1e6},
        {"channel_drift", &M::channel_drift, "See channel_offset_s; default 0", "SHARE", {}, -0.01, 0.01},
    };
    return keys;
}

std::string mapping_path(const std::string& input) { return input + ".kurbel.toml"; }

namespace {

void read_key(const TomlFile& file, const MappingKey& key, Mapping& mapping) {
    if (const auto* text = std::get_if<std::string Mapping::*>(&key.member)) {
        // A column may be named by its number, written without quotes.
        const toml::node* node = file.root.get(key.name);
        std::string& target = mapping.*(*text);
        if (const auto number = node->value_exact<std::int64_t>(); number && key.words.empty())
            target = std::to_string(*number);
        else
            target = text_or(file, file.root, "", key.name, "");
        const bool known =
            std::any_of(key.words.begin(), key.words.end(), [&](const char* word) { return target == word; });
        if (!key.words.empty() && !known) fail_key(file, file.root, "", key.name, "must be " + one_of(key.words));
        return;
    }
    const double number = number_or(file, file.root, "", key.name, 0.0);
    if (!(number >= key.low && number <= key.high))
        fail_key(file, file.root, "", key.name, "must lie in " + range_text(key));
    if (const auto* real = std::get_if<double Mapping::*>(&key.member))
        mapping.*(*real) = number;
    else
        mapping.*(std::get<int Mapping::*>(key.member)) =
            static_cast<int>(integer_or(file, file.root, "", key.name, 0));
}

}  // namespace

Mapping read_mapping(const std::string& path) {
    const TomlFile file = parse_toml(path);
    std::vector<std::string> known{"engine", "crank_wheel", "cam_wheel"};
    for (const MappingKey& key : mapping_keys()) known.emplace_back(key.name);
    for (const auto& [key, node] : file.root) {
        const std::string_view word = key.str();
        if (std::find(known.begin(), known.end(), word) != known.end()) continue;
        throw InputError(path, static_cast<long>(key.source().begin.line),
                         "unknown key " + std::string(word) + "; a mapping knows " + listed(known, known.size()) +
                             " (kurbel convert --help tells what they mean)");
    }
    Mapping mapping;
    for (const MappingKey& key : mapping_keys())
        if (file.root.get(key.name) != nullptr) read_key(file, key, mapping);
    return mapping;
}

}  // namespace kurbel::read
