#include "read/foreign/table.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <string_view>

#include "kurbel/read/input_error.hpp"
#include "read/foreign/words.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

TimeScale time_scale(const std::string& unit, double hz) {
    if (unit == "ticks") return {0, 1.0, hz};
    double seconds = 1.0;
    if (unit == "ms") seconds = 1e-3;
    if (unit == "us") seconds = 1e-6;
    if (unit == "ns") seconds = 1e-9;
    if (unit == "min") seconds = 60.0;
    if (unit == "h") seconds = 3600.0;
    const double ticks = seconds * hz;
    const double digits = std::round(std::log10(ticks));
    constexpr double kSame = 1e-12;
    if (std::abs(ticks / std::pow(10.0, digits) - 1.0) < kSame) return {static_cast<int>(digits), 1.0, hz};
    return {0, ticks, hz};
}

bool to_tick(const TimeScale& scale, double value, std::int64_t& tick) noexcept {
    // Dividing by a power of ten that is exact rounds once; multiplying by its inverse would round twice.
    const double power = std::pow(10.0, std::abs(scale.digits));
    const double scaled = std::round((scale.digits < 0 ? value / power : value * power) * scale.factor);
    if (!(std::abs(scaled) <= static_cast<double>(kMostTicks))) return false;
    tick = static_cast<std::int64_t>(scaled);
    return true;
}

bool to_tick(const TimeScale& scale, std::int64_t value, std::int64_t& tick) noexcept {
    if (scale.factor != 1.0 || scale.digits < 0) return to_tick(scale, static_cast<double>(value), tick);
    for (int i = 0; i < scale.digits; ++i) {
        if (value > kMostTicks / 10 || value < -kMostTicks / 10) return false;
        value *= 10;
    }
    if (value > kMostTicks || value < -kMostTicks) return false;
    tick = value;
    return true;
}

void Block::clear(std::size_t wishes) {
    rows = 0;
    numbers.resize(wishes);
    integers.resize(wishes);
    for (auto& column : numbers) column.clear();
    for (auto& column : integers) column.clear();
}

namespace {

using std::string_view_literals::operator""sv;

struct Mark {
    std::string_view bytes;
    const char* format;
};

constexpr std::array kMarks{
    Mark{"RIFF"sv, "wav"},         Mark{"RIFX"sv, "wav"},     Mark{"RF64"sv, "wav"},
    Mark{"riff\x2e\x91"sv, "wav"}, Mark{"fLaC"sv, "wav"},     Mark{"PK\x03\x04"sv, "npz"},
    Mark{"\x89HDF\r\n"sv, "hdf5"}, Mark{"PAR1"sv, "parquet"}, Mark{"MDF     "sv, "mdf"},
    Mark{"UnFinMF "sv, "mdf"},     Mark{"$date"sv, "vcd"},    Mark{"$version"sv, "vcd"},
    Mark{"$timescale"sv, "vcd"},   Mark{"$comment"sv, "vcd"}, Mark{"$scope"sv, "vcd"},
    Mark{"$var"sv, "vcd"},
};

constexpr std::array<std::array<const char*, 2>, 14> kEndings{{{".wav", "wav"},
                                                               {".w64", "wav"},
                                                               {".rf64", "wav"},
                                                               {".flac", "wav"},
                                                               {".vcd", "vcd"},
                                                               {".npz", "npz"},
                                                               {".h5", "hdf5"},
                                                               {".hdf5", "hdf5"},
                                                               {".hdf", "hdf5"},
                                                               {".parquet", "parquet"},
                                                               {".pq", "parquet"},
                                                               {".mf4", "mdf"},
                                                               {".mdf", "mdf"},
                                                               {".csv", "text"}}};

}  // namespace

std::string format_of(const std::string& path) {
    std::error_code error;
    const std::filesystem::file_status status = std::filesystem::status(path, error);
    if (!std::filesystem::exists(status)) throw InputError(path, 0, "is missing: check the name and the folder");
    if (!std::filesystem::is_regular_file(status))
        throw InputError(path, 0, "is no regular file: a recording is a folder or a file of a known end");
    std::ifstream stream(path, std::ios::binary);
    if (!stream) throw InputError(path, 0, "cannot be opened: check who may read it");
    std::array<char, 64> buffer{};
    stream.read(buffer.data(), buffer.size());
    std::string_view head(buffer.data(), static_cast<std::size_t>(std::max<std::streamsize>(stream.gcount(), 0)));
    if (head.empty()) throw InputError(path, 0, "is empty: record or copy it again");
    const std::string_view behind_space = head.substr(std::min(head.find_first_not_of(" \t\r\n"), head.size()));
    for (const Mark& mark : kMarks)
        if (head.substr(0, mark.bytes.size()) == mark.bytes || behind_space.substr(0, mark.bytes.size()) == mark.bytes)
            return mark.format;
    std::string ending = std::filesystem::path(path).extension().string();
    std::transform(ending.begin(), ending.end(), ending.begin(), [](char letter) {
        return letter >= 'A' && letter <= 'Z' ? static_cast<char>(letter + 32) : letter;
    });
    for (const auto& [name, format] : kEndings)
        if (ending == name) return format;
    return "text";
}

std::size_t place_of(const std::string& path, const std::vector<std::string>& columns, const std::string& name) {
    const auto found = std::find(columns.begin(), columns.end(), name);
    if (found != columns.end()) return static_cast<std::size_t>(found - columns.begin());
    const std::string_view digits = std::string_view(name).substr(!name.empty() && name[0] == '#' ? 1 : 0);
    std::size_t number = 0;
    const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), number);
    if (error == std::errc{} && end == digits.data() + digits.size() && number >= 1 && number <= columns.size())
        return number - 1;
    throw InputError(path, 0, "has no column \"" + name + "\"; it has " + (columns.empty() ? "none" : listed(columns)));
}

std::unique_ptr<Table> open_table(const std::string& path, const Mapping& mapping, const FileContents& contents,
                                  std::vector<Wish> wishes) {
    if (mapping.format == "text") return open_text(path, mapping, std::move(wishes));
    if (mapping.format == "vcd") return open_vcd(path, std::move(wishes));
    if (mapping.format == "wav") return open_wav(path, std::move(wishes));
    return open_helped(contents.helped, std::move(wishes));
}

FileContents look_into(const std::string& path, const Mapping& mapping) {
    if (mapping.format == "text") return look_into_text(path, mapping);
    if (mapping.format == "vcd") return look_into_vcd(path);
    if (mapping.format == "wav") return look_into_wav(path);
    return look_into_helped(path, mapping.format);
}

}  // namespace kurbel::read
