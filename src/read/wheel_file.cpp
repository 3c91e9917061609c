#include "kurbel/read/wheel_file.hpp"

#include <cmath>
#include <filesystem>
#include <fstream>
#include <random>

#include "kurbel/core/version.hpp"
#include "kurbel/read/input_error.hpp"
#include "read/config_toml.hpp"

namespace kurbel::read {

namespace {

/// Fixed decimals, whatever the locale says: a hundred-thousandth of a degree is finer than any wheel is known.
std::string degrees(float value) {
    const auto units = std::lround(static_cast<double>(value) * 1e5);
    std::string digits = std::to_string(std::labs(units));
    if (digits.size() < 6) digits.insert(0, 6 - digits.size(), '0');
    return (units < 0 ? "-" : "") + digits.insert(digits.size() - 5, ".");
}

std::string list(const std::array<float, kMaxTeeth>& values, int count) {
    std::string text = "[";
    for (int i = 0; i < count; ++i) {
        if (i > 0) text += i % 10 == 0 ? "," : ", ";
        if (i % 10 == 0) text += "\n    ";
        text += degrees(values[static_cast<std::size_t>(i)]);
    }
    return text + "]\n";
}

std::string text_of(const WheelFile& file) {
    return std::string("# Where the teeth of one crank wheel really stand, learned by kurbel " KURBEL_VERSION_STRING
                       ".\n") +
           "contract = 1\n" + wheel_toml(file.wheel) +
           "\n[learned]\nrevolutions = " + std::to_string(file.revolutions) +
           "\n# How much farther on than told each tooth stands, crank degrees, in the order of the wheel; their mean "
           "is 0.\n" +
           "error_deg = " + list(file.errors.error_deg, file.errors.teeth) +
           "standard_error_deg = " + list(file.se_deg, file.errors.teeth);
}

void fill(const TomlFile& file, const toml::table& table, const char* key, int teeth,
          std::array<float, kMaxTeeth>& values) {
    const std::vector<double> numbers = numbers_or_none(file, table, "learned", key);
    if (table.get(key) == nullptr) fail_key(file, table, "learned", key, "is missing");
    if (static_cast<int>(numbers.size()) != teeth)
        fail_key(file, table, "learned", key,
                 "must have one number for each of the wheel's " + std::to_string(teeth) + " teeth, not " +
                     std::to_string(numbers.size()));
    for (std::size_t i = 0; i < numbers.size(); ++i) {
        if (!(std::fabs(numbers[i]) <= 360.0)) fail_key(file, table, "learned", key, "must lie within one turn");
        values[i] = static_cast<float>(numbers[i]);
    }
}

}  // namespace

WheelFile read_wheel_file(const std::string& path) {
    const TomlFile file = parse_toml(path);
    refuse_unknown_keys(file, file.root, "", {"contract", "crank_wheel", "learned"});
    if (integer_or(file, file.root, "", "contract", 1) != 1)
        fail_key(file, file.root, "", "contract", "is not 1: written by a newer version");
    WheelFile result;
    result.wheel = read_crank_wheel(file);
    const toml::table* table = find_table(file, "learned");
    if (table == nullptr) throw InputError(path, 0, "[learned] is missing: this is no wheel file");
    refuse_unknown_keys(file, *table, "learned", {"revolutions", "error_deg", "standard_error_deg"});
    result.revolutions = integer_or(file, *table, "learned", "revolutions", 0);
    result.errors.teeth = result.wheel.teeth;
    fill(file, *table, "error_deg", result.wheel.teeth, result.errors.error_deg);
    fill(file, *table, "standard_error_deg", result.wheel.teeth, result.se_deg);
    double square = 0.0;
    for (int i = 0; i < result.errors.teeth; ++i) {
        const auto se = static_cast<double>(result.se_deg[static_cast<std::size_t>(i)]);
        if (!(se >= 0.0)) fail_key(file, *table, "learned", "standard_error_deg", "must not be negative");
        square += se * se / result.errors.teeth;
    }
    result.errors.rms_se_deg = static_cast<float>(std::sqrt(square));
    if (const Status status = validate(result.errors, result.wheel); !status)
        fail_key(file, *table, "learned", "error_deg", status.why);
    return result;
}

void write_wheel_file(const std::string& path, const WheelFile& file) {
    const std::filesystem::path target(path);
    std::filesystem::path temporary = target;
    temporary += ".part" + std::to_string(std::random_device{}());
    std::ofstream stream(temporary, std::ios::binary | std::ios::trunc);
    stream << text_of(file);
    stream.close();
    std::error_code error;
    if (stream) std::filesystem::rename(temporary, target, error);
    if (!stream || error) {
        std::error_code ignored;
        std::filesystem::remove(temporary, ignored);
        throw InputError(path, 0, "cannot be written");
    }
}

void use_wheel_file(const std::string& path, const WheelFile& file, Config& config) {
    const WheelConfig& ours = config.crank_wheel;
    bool same = ours.teeth == file.wheel.teeth;
    for (int i = 0; same && i < ours.teeth; ++i) {
        const auto at = static_cast<std::size_t>(i);
        same = std::fabs(ours.angle_deg[at] - file.wheel.angle_deg[at]) < 0.01F;
    }
    if (!same)
        throw InputError(
            path, 0,
            "is of a wheel that is made in another way: [crank_wheel] differs from the recording's. Learn this "
            "engine's own wheel");
    config.wheel_errors = file.errors;
}

}  // namespace kurbel::read
