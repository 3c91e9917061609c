// kurbel score: a result against the truth of its recording.
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/command.hpp"
#include "command/hash.hpp"
#include "command/text.hpp"
#include "kurbel/read/events_file.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/read/recording.hpp"
#include "kurbel/study/score.hpp"

namespace kurbel::command {

namespace {

using Json = nlohmann::ordered_json;

struct ScoreCall {
    std::string result;
    std::string truth;
    std::string json;
    ScoreOptions options{};
};

std::string file_in(const std::string& folder, const char* name) {
    return !folder.empty() && folder.back() == '/' ? folder + name : folder + "/" + name;
}

std::string line(const char* what, const Share& share, const char* of) {
    const Interval interval = share.interval();
    const std::string range = share.of == 0 ? "-" : percent_range(interval.low, interval.high);
    return format("  %-34s %8lld of %8lld  %9s   %-18s %s\n", what, static_cast<long long>(share.count),
                  static_cast<long long>(share.of), percent(share.rate()).c_str(), range.c_str(), of);
}

std::string line(const char* what, std::int64_t count, const std::string& remark = "") {
    return format("  %-34s %8lld  %s\n", what, static_cast<long long>(count), remark.c_str());
}

std::string headline(const Score& score) {
    const auto caught = score.missed.of - score.missed.count;
    if (score.missed.of == 0)
        return "The truth holds no misfire that counts; " + counted(score.false_alarms.count, "false alarm") + " in " +
               counted(score.false_alarms.of, "healthy firing") + ".";
    return std::to_string(caught) + " of " + counted(score.missed.of, "true misfire") + " caught, " +
           counted(score.false_alarms.count, "false alarm") + " in " +
           counted(score.false_alarms.of, "healthy firing") + ".";
}

std::string score_text(const Score& score, const ScoreOptions& options) {
    std::string text = headline(score) + "\n\n";
    text += format("  %-34s %8s    %8s  %9s   %s\n", "", "count", "", "rate", "95 % interval");
    text += line("misfires missed", score.missed, "of true misfires");
    text += line("  of these left unjudged", score.missed_unjudged, "");
    text += line("  of these without an event", score.missed_absent, "");
    text += line("false alarms", score.false_alarms, "of healthy firings that were judged");
    text += line("wrong cylinder", score.wrong_cylinder, "of caught misfires");
    text += line("wrong name", score.misnamed, "of all matched firings that were named");
    text += line("partial misfires called", score.partial_called, "of partial ones that were judged");
    text += "\n";
    text += line("firings in the truth", score.truth_firings);
    text += line("events", score.events, counted(score.matched, "event") + " matched with a true firing");
    text += line("surplus events", score.surplus,
                 "no true firing near them; " + std::to_string(score.surplus_called) + " called misfire");
    text += line("absent events", score.absent,
                 std::to_string(score.absent_at_ends) + " of them before the first or after the last event");
    text += line("healthy firings left unjudged", score.healthy_unjudged);
    text += line("misfires excused", score.excused, "unjudged for fuel_cut or cranking");
    text += line("fuel-cut firings", score.fuel_cut_firings,
                 "neither misfire nor healthy; " + std::to_string(score.fuel_cut_called) + " called misfire");
    if (score.unlabelled > 0) text += line("firings without a label", score.unlabelled);
    text += format("\nIn the truth, severity >= %g counts as a misfire, <= %g as healthy, between as partial.\n",
                   options.misfire_severity, options.healthy_severity);
    text += "Candidates that cannot be told apart count as right if the true cylinder is among them.\n";
    return text;
}

Json share_json(const Share& share) {
    const Interval interval = share.interval();
    const bool known = share.of > 0;
    return {{"count", share.count},
            {"of", share.of},
            {"rate", known ? Json(share.rate()) : Json(nullptr)},
            {"rate_low", known ? Json(interval.low) : Json(nullptr)},
            {"rate_high", known ? Json(interval.high) : Json(nullptr)}};
}

std::string score_json(const Score& score, const ScoreOptions& options) {
    Json json;
    json["missed"] = share_json(score.missed);
    json["missed_unjudged"] = share_json(score.missed_unjudged);
    json["missed_absent"] = share_json(score.missed_absent);
    json["false_alarms"] = share_json(score.false_alarms);
    json["wrong_cylinder"] = share_json(score.wrong_cylinder);
    json["misnamed"] = share_json(score.misnamed);
    json["partial_called"] = share_json(score.partial_called);
    json["truth_firings"] = score.truth_firings;
    json["events"] = score.events;
    json["matched"] = score.matched;
    json["surplus"] = score.surplus;
    json["surplus_called"] = score.surplus_called;
    json["absent"] = score.absent;
    json["absent_at_ends"] = score.absent_at_ends;
    json["healthy_unjudged"] = score.healthy_unjudged;
    json["excused"] = score.excused;
    json["fuel_cut_firings"] = score.fuel_cut_firings;
    json["fuel_cut_called"] = score.fuel_cut_called;
    json["unlabelled"] = score.unlabelled;
    json["misfire_severity"] = options.misfire_severity;
    json["healthy_severity"] = options.healthy_severity;
    return json.dump(2) + "\n";
}

void write_whole(const std::string& path, const std::string& text) {
    const std::string temporary = path + ".part";
    std::ofstream stream(temporary, std::ios::binary | std::ios::trunc);
    stream << text;
    stream.close();
    std::error_code error;
    if (stream) std::filesystem::rename(temporary, path, error);
    if (stream && !error) return;
    std::filesystem::remove(temporary, error);
    throw read::InputError(path, 0, "cannot be written");
}

/// A result scored by another recording's truth gives figures that look like a bad detector's.
void refuse_other_recording(const ScoreCall& call) {
    const std::string path = file_in(call.result, "summary.json");
    std::ifstream stream(path, std::ios::binary);
    if (!stream) return;  // events.csv alone, from elsewhere perhaps
    const Json summary = Json::parse(stream, nullptr, false);
    const auto inputs = summary.is_object() ? summary.find("inputs") : summary.end();
    if (!summary.is_object() || inputs == summary.end() || !inputs->is_object()) return;
    std::error_code error;
    for (const char* name : {"edges.csv", "crank.npy", "cam.npy"}) {
        const auto hash = inputs->find(name);
        const std::string file = file_in(call.truth, name);
        if (hash == inputs->end() || !hash->is_string() || !std::filesystem::is_regular_file(file, error)) continue;
        if (sha256_of_file(file) != hash->get<std::string>())
            throw read::InputError(file, 0,
                                   "is not what " + call.result +
                                       " was made of (summary.json names another SHA-256); give the truth of the same "
                                       "recording, or analyze this one");
    }
}

void run_score(const ScoreCall& call) {
    const ScoreOptions& options = call.options;
    if (!(options.healthy_severity >= 0.0 && options.healthy_severity < options.misfire_severity &&
          options.misfire_severity <= 1.0))
        throw WrongCall("--healthy must lie below --misfire, both in 0 to 1");
    const std::vector<Event> events = read::read_events(file_in(call.result, "events.csv"));
    const std::vector<read::TruthRow> truth = read::read_truth(file_in(call.truth, "truth.csv"), kMaxCylinders);
    refuse_other_recording(call);
    const Score result = score(events, truth, call.options);
    if (!call.json.empty()) write_whole(call.json, score_json(result, call.options));
    std::cout << score_text(result, call.options);
}

}  // namespace

void add_score(CLI::App& app) {
    CLI::App* command = app.add_subcommand("score", "Compare a result with the truth of its recording");
    const auto call = std::make_shared<ScoreCall>();
    command->add_option("RESULT", call->result, "Folder that kurbel analyze wrote (events.csv)")
        ->required()
        ->type_name("FOLDER");
    command->add_option("--truth", call->truth, "Recording with truth.csv")->required()->type_name("FOLDER");
    command->add_option("--json", call->json, "Also write the figures to this file")->type_name("FILE");
    command->add_option("--misfire", call->options.misfire_severity, "Severity from which a true firing is a misfire")
        ->type_name("SEVERITY")
        ->capture_default_str();
    command->add_option("--healthy", call->options.healthy_severity, "Severity up to which a true firing is healthy")
        ->type_name("SEVERITY")
        ->capture_default_str();
    command->footer("Example: kurbel score my-result --truth my-recording --json figures.json\n\n" +
                    std::string(kStatuses));
    command->callback([call] { run_score(*call); });
}

}  // namespace kurbel::command
