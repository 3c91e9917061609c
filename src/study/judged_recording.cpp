#include "kurbel/study/judged_recording.hpp"

#include <algorithm>
#include <utility>

#include "kurbel/read/analysis.hpp"
#include "kurbel/read/input_error.hpp"

namespace kurbel {

namespace {

/// The coolant's temperature at each event; empty where it was never measured.
std::vector<double> coolant_at(const std::vector<Event>& events, const read::Recording& recording) {
    std::vector<double> values;
    double value = kUnknown;
    auto row = recording.channels.begin();
    const auto is_coolant = [](const read::ChannelRow& r) { return r.channel == Channel::coolant_c; };
    if (std::none_of(recording.channels.begin(), recording.channels.end(), is_coolant)) return values;
    values.reserve(events.size());
    for (const Event& event : events) {
        for (; row != recording.channels.end() &&
               static_cast<double>(row->tick) <= event.time_s * recording.config.timer.hz;
             ++row)
            if (is_coolant(*row)) value = row->value;
        values.push_back(value);
    }
    return values;
}

}  // namespace

std::int64_t JudgedRecording::judged() const noexcept {
    return std::count_if(events.begin(), events.end(),
                         [](const Event& event) { return event.verdict != Verdict::unjudged; });
}

JudgedRecording judge_recording(const read::Recording& recording, const std::string& name, const Settings& settings,
                                const std::function<void(double)>& progress) {
    Result<read::Analysis> result = read::analyze(recording, settings, progress);
    if (!result) throw read::InputError(name, 0, std::string(result.status.parameter) + ": " + result.status.why);
    JudgedRecording judged;
    judged.name = name;
    judged.config = recording.config;
    judged.config.settings = settings;
    judged.events = std::move(result.value.events);
    judged.coolant_c = coolant_at(judged.events, recording);
    judged.sync = result.value.sync;
    judged.seconds = read::duration_s(recording);
    return judged;
}

JudgedRecording judge_folder(const std::string& folder, const Settings& settings,
                             const std::function<void(double)>& progress) {
    return judge_recording(read::read_recording(folder), folder, settings, progress);
}

}  // namespace kurbel
