#include "kurbel/study/judged_recording.hpp"

#include <algorithm>
#include <utility>

#include "kurbel/core/fnv.hpp"
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

std::uint64_t hash_of(const read::Recording& recording) {
    const auto& tick = recording.tick;
    return fnv1a(recording.signal.data(), recording.signal.size(), fnv1a(tick.data(), tick.size() * sizeof tick[0]));
}

}  // namespace

void refuse_repeats(const std::vector<const JudgedRecording*>& recordings) {
    for (std::size_t i = 0; i < recordings.size(); ++i)
        for (std::size_t j = 0; j < i; ++j)
            if (recordings[i]->edges_hash != 0 && recordings[i]->edges_hash == recordings[j]->edges_hash)
                throw read::InputError(recordings[i]->name, 0,
                                       "holds the same edges as " + recordings[j]->name +
                                           ": one recording given twice would count as twice the evidence; give each "
                                           "once");
}

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
    judged.tdc_offset = result.value.tdc_offset;
    judged.seconds = read::duration_s(recording);
    judged.edges_hash = hash_of(recording);
    return judged;
}

JudgedRecording judge_folder(const std::string& folder, const Settings& settings,
                             const std::function<void(double)>& progress) {
    return judge_recording(read::read_recording(folder, {}, read::Labels::left_out), folder, settings, progress);
}

}  // namespace kurbel
