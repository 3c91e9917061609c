// Reads what stands in a folder of analyze or of a study. Nothing in it is trusted.
#include <algorithm>
#include <array>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "kurbel/read/input_error.hpp"
#include "kurbel/study/cautions.hpp"
#include "study/report/part.hpp"

namespace kurbel::study::report {

namespace {

namespace fs = std::filesystem;

constexpr std::uintmax_t kLargest = 32U << 20U;  // bytes of one file; what the commands write is far smaller

std::string read_whole(const fs::path& path) {
    std::error_code error;
    const std::uintmax_t size = fs::file_size(path, error);
    if (!error && size > kLargest)
        throw read::InputError(path.string(), 0, "is too large to be of a result or an answer");
    if (error || !fs::is_regular_file(path, error)) throw read::InputError(path.string(), 0, "cannot be read");
    std::ifstream stream(path, std::ios::binary);
    std::ostringstream text;
    text << stream.rdbuf();
    if (!stream) throw read::InputError(path.string(), 0, "cannot be read");
    return text.str();
}

Json object_in(const fs::path& path) {
    Json json;
    try {
        json = Json::parse(read_whole(path));
    } catch (const Json::parse_error& error) {
        // Not in the parser's own words: they repeat bytes that may be no text.
        throw read::InputError(path.string(), 0,
                               "is no JSON (at byte " + std::to_string(error.byte) + "); write the folder anew");
    }
    if (!json.is_object()) throw read::InputError(path.string(), 0, "must hold a JSON object; write the folder anew");
    return json;
}

std::string string_in(const fs::path& path, const Json& json, const char* key) {
    if (!json.contains(key) || !json[key].is_string())
        throw read::InputError(path.string(), 0, std::string("has no text \"") + key + "\"; write the folder anew");
    return json[key].get<std::string>();
}

std::vector<std::string> strings_in(const fs::path& path, const Json& json, const char* key) {
    std::vector<std::string> list;
    if (!json.contains(key)) return list;
    const Json& array = json[key];
    const auto is_text = [](const Json& item) { return item.is_string(); };
    if (!array.is_array() || !std::all_of(array.begin(), array.end(), is_text))
        throw read::InputError(path.string(), 0,
                               std::string("\"") + key + "\" must be a list of texts; write the folder anew");
    for (const Json& item : array) list.push_back(item.get<std::string>());
    return list;
}

struct Study {
    const char* name;
    const char* heading;
    const char* picture;
};
constexpr std::array<Study, 6> kStudies{{
    {"swap", "Exchange of a part", "how often each cylinder misfired before and after the exchange"},
    {"verify", "Proof of the repair", "how the test for the repair went on, firing by firing"},
    {"work", "Work of each cylinder", "mean work of each cylinder with its interval"},
    {"cranking", "Compression while cranking", "compression of each cylinder against the best"},
    {"pattern", "Where and when it misfires", "misfires of each cylinder over time, and the rate by condition"},
    {"calibrate", "Calibration", "what the calibration came to"},
}};

struct Meaning {
    const char* study;
    const char* verdict;
    Tone tone;
};
/// Verdicts that say more than "something was found". Any other is a finding.
constexpr std::array<Meaning, 17> kMeanings{{
    {"swap", "followed", Tone::fault},
    {"swap", "stayed", Tone::fault},
    {"swap", "other", Tone::fault},
    {"swap", "vanished", Tone::open},
    {"swap", "undecided", Tone::open},
    {"verify", "gone", Tone::clear},
    {"verify", "remains", Tone::fault},
    {"verify", "undecided", Tone::open},
    {"work", "even", Tone::clear},
    {"work", "uneven", Tone::fault},
    {"work", "undecided", Tone::open},
    {"cranking", "even", Tone::clear},
    {"cranking", "uneven", Tone::fault},
    {"cranking", "undecided", Tone::open},
    {"pattern", "none", Tone::clear},
    {"pattern", "continuous", Tone::fault},
    {"pattern", "undecided", Tone::open},
}};

void add_picture(Part& part, const fs::path& folder, const char* file, const std::string& alt) {
    std::error_code error;
    if (!fs::exists(folder / file, error)) return;
    std::string svg = read_whole(folder / file);
    if (svg.find("<svg") == std::string::npos)
        throw read::InputError((folder / file).string(), 0, "is no SVG picture; write the folder anew");
    part.pictures.push_back({std::move(svg), alt});
}

Part answer_part(const fs::path& folder) {
    const fs::path path = folder / "answer.json";
    const Json json = object_in(path);
    Part part;
    const std::string study = json.contains("study") ? string_in(path, json, "study") : "";
    part.question = string_in(path, json, "question");
    part.verdict = string_in(path, json, "verdict");
    part.sentence = string_in(path, json, "sentence");
    part.cautions = strings_in(path, json, "cautions");
    if (!json.contains("evidence") || !json["evidence"].is_object())
        throw read::InputError(path.string(), 0, "has no object \"evidence\"; write the folder anew");
    part.evidence = json["evidence"];
    std::string shows = "what the study found";
    part.heading = study.empty() ? "Answer" : study;
    for (const Study& known : kStudies)
        if (study == known.name) {
            part.heading = known.heading;
            shows = known.picture;
        }
    for (const Meaning& meaning : kMeanings)
        if (study == meaning.study && part.verdict == meaning.verdict) part.tone = meaning.tone;
    add_picture(part, folder, "picture.svg", "Picture: " + shows + ". " + part.sentence);
    return part;
}

Part summary_part(const fs::path& folder) {
    const fs::path path = folder / "summary.json";
    const Json json = object_in(path);
    Part part;
    part.analysis = true;
    part.heading = "What the engine does";
    part.question = "Which cylinder misfires, and how often?";
    part.sentence = string_in(path, json, "verdict");
    part.warnings = strings_in(path, json, "warnings");
    if (!json.contains("cylinders") || !json["cylinders"].is_array())
        throw read::InputError(path.string(), 0,
                               "has no list \"cylinders\"; write the folder anew with kurbel analyze");
    const std::vector<std::string> codes = strings_in(path, json, "codes");
    std::int64_t misfires = 0;
    std::int64_t judged = 0;
    for (const Json& row : json["cylinders"]) {
        if (!row.is_object())
            throw read::InputError(path.string(), 0, "\"cylinders\" must hold objects; write the folder anew");
        const auto count = [&](const char* key) {
            const auto found = row.find(key);
            return found != row.end() && found->is_number_integer() ? found->get<std::int64_t>() : 0;
        };
        misfires += count("misfires");
        judged += count("judged");
    }
    part.tone = !codes.empty() ? Tone::fault : judged == 0 ? Tone::open : misfires == 0 ? Tone::clear : Tone::finding;
    part.verdict = !codes.empty()  ? "misfires"
                   : judged == 0   ? "not judged"
                   : misfires == 0 ? "no misfire"
                                   : "hardly any misfire";
    // The description contradicts the motion: neither clear nor a fault until it is checked.
    if (const auto doubt = json.find("judged_but_for"); doubt != json.end() && doubt->is_string()) {
        part.tone = Tone::open;
        part.verdict = "cannot be judged";
    }
    part.evidence = json;
    if (misfires > 0)
        part.cautions = cautions({Caution::unburnt_fuel, Caution::running_engine, Caution::ignition_voltage,
                                  Caution::hot_exhaust, Caution::carbon_monoxide, Caution::fuel_pressure});
    add_picture(part, folder, "plot.svg", "Picture: severity of each firing over time, by cylinder. " + part.sentence);
    return part;
}

}  // namespace

Part load_part(const std::string& folder) {
    const fs::path path(folder);
    std::error_code error;
    if (!fs::is_directory(path, error))
        throw read::InputError(folder, 0, "is no folder; give folders that kurbel analyze or a study wrote with --out");
    Part part;
    if (fs::exists(path / "answer.json", error))
        part = answer_part(path);
    else if (fs::exists(path / "summary.json", error))
        part = summary_part(path);
    else
        throw read::InputError(
            folder, 0,
            "holds neither summary.json nor answer.json; give folders that kurbel analyze or a study wrote "
            "with --out");
    const fs::path whole = fs::absolute(path, error).lexically_normal();
    part.folder = (whole.has_filename() ? whole : whole.parent_path()).filename().string();
    return part;
}

}  // namespace kurbel::study::report
