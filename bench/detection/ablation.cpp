#include "ablation.hpp"

#include <algorithm>
#include <exception>

#include "changes.hpp"
#include "text/text.hpp"

namespace kurbel_detection {

namespace {

using kurbel::EngineConfig;
using kurbel::text::format;

/// Changes what the detector is told of the engine.
template <class ChangeEngine>
Tamper told(ChangeEngine change) {
    return [=](Recording& recording) { change(recording.config.engine); };
}

void forget_geometry(EngineConfig& engine) {
    engine.bore_mm = engine.stroke_mm = engine.rod_mm = engine.compression_ratio = kurbel::kUnknown;
    engine.reciprocating_kg = engine.inertia_kg_m2 = kurbel::kUnknown;
}

void scale_load(Recording& recording, double factor) {
    for (kurbel::read::ChannelRow& row : recording.channels)
        if (row.channel == kurbel::Channel::load) row.value *= factor;
}

/// The revolution is then the crank's own matter. A wheel without a gap cannot do without its cam.
void forget_cam(Recording& recording) {
    if (recording.config.crank_wheel.teeth == recording.config.crank_wheel.positions) return;
    recording.config.cam_wheel = {};
    std::size_t kept = 0;
    for (std::size_t i = 0; i < recording.tick.size(); ++i) {
        if (recording.signal[i] != static_cast<std::uint8_t>(kurbel::Signal::crank)) continue;
        recording.tick[kept] = recording.tick[i];
        recording.signal[kept++] = recording.signal[i];
    }
    recording.tick.resize(kept);
    recording.signal.resize(kept);
}

constexpr Kind kKinds[] = {Kind::steady, Kind::transient, Kind::cold, Kind::rough, Kind::healthy};

}  // namespace

std::vector<Variant> variants(const kurbel::Settings& settings) {
    std::vector<Variant> list;
    const auto add = [&](const char* name, Tamper tamper) {
        list.push_back({name, std::move(tamper), settings, false});
    };
    add("as it comes", {});
    add("no load channel", no_load());
    add("load 60 ms late", load_late(0.06));
    add("load 5 % low", [](Recording& recording) { scale_load(recording, 0.95); });
    add("no geometry, masses, inertia", told(forget_geometry));
    add("inertia told 20 % high", told([](EngineConfig& engine) { engine.inertia_kg_m2 *= 1.2; }));
    add("inertia told 20 % low", told([](EngineConfig& engine) { engine.inertia_kg_m2 *= 0.8; }));
    add("reciprocating mass told 20 % high", told([](EngineConfig& engine) { engine.reciprocating_kg *= 1.2; }));
    add("crank pins not told", told([](EngineConfig& engine) { engine.throw_number = {}; }));
    add("sensor's end not told",
        [](Recording& recording) { recording.config.crank_wheel.at = kurbel::SensorAt::unknown; });
    add("no cam", forget_cam);
    add("single precision", {});
    list.back().single_precision = true;
    add("the classic's own threshold", {});
    list.back().settings.method = kurbel::Method::segment_roughness;
    return list;
}

std::vector<Outcome> ablate(const Cell& cell, const RunOptions& options, const std::vector<Variant>& variants) {
    std::vector<Outcome> outcomes(variants.size());
    for (Outcome& outcome : outcomes) outcome.cell = &cell;
    const auto enough = [&](int engines) { return holds_enough(outcomes.front(), options.amount, engines); };
    const std::string error = for_each_engine(
        cell, options, enough, [&](const Scenario& scenario, const Recording& recording, std::uint64_t drawn) {
            for (std::size_t v = 0; v < variants.size(); ++v) {
                Recording changed = recording;
                if (variants[v].tamper) variants[v].tamper(changed);
                const Judged judged = judge(scenario, changed, variants[v].settings, variants[v].single_precision);
                add_counts(judged, drawn, outcomes[v]);
            }
        });
    for (Outcome& outcome : outcomes) {
        outcome.error = error;
        sum_up(outcome);
    }
    return outcomes;
}

std::string ablation_markdown(const std::vector<Variant>& variants, const std::vector<std::vector<Outcome>>& outcomes) {
    std::string text = "| variant |";
    std::string rule = "|---|";
    for (const Kind kind : kKinds) {
        text += " " + std::string(name(kind)) +
                (kind == Kind::healthy ? ": false per 1e4 |" : ": missed %, false per 1e4 |");
        rule += "--:|";
    }
    text += "\n" + rule + "\n";
    for (std::size_t v = 0; v < variants.size(); ++v) {
        text += "| " + variants[v].name + " |";
        for (const Kind kind : kKinds) {
            kurbel::Share missed;
            kurbel::Share accused;
            for (const std::vector<Outcome>& cell : outcomes) {
                if (cell[v].cell->kind != kind) continue;
                missed.count += cell[v].missed.count;
                missed.of += cell[v].missed.of;
                accused.count += cell[v].false_alarms.count;
                accused.of += cell[v].false_alarms.of;
            }
            const std::string per = accused.of > 0 ? format("%.2f", 1e4 * accused.rate()) : "-";
            text += kind == Kind::healthy
                        ? " " + per + " |"
                        : (missed.of > 0 ? format(" %.2f, ", 100.0 * missed.rate()) : " -, ") + per + " |";
        }
        text += "\n";
    }
    return text;
}

std::string ablation_csv(const std::vector<Variant>& variants, const std::vector<std::vector<Outcome>>& outcomes) {
    std::string text = "cell,kind,variant,misfires,missed,healthy,false,unjudged,judgeable,auc\n";
    for (const std::vector<Outcome>& cell : outcomes)
        for (std::size_t v = 0; v < variants.size(); ++v) {
            const Outcome& o = cell[v];
            text += o.cell->name + "," + std::string(name(o.cell->kind)) + ",\"" + variants[v].name + "\"";
            for (const std::int64_t value : {o.missed.of, o.missed.count, o.false_alarms.of, o.false_alarms.count,
                                             o.unjudged.count, o.unjudged.of})
                text += "," + std::to_string(value);
            text += o.auc == o.auc ? format(",%.9g\n", o.auc) : ",\n";
        }
    return text;
}

}  // namespace kurbel_detection
