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

/// Each tooth where it really stands: more than any learning of the wheel could bring.
void tell_true_wheel(Recording& recording, const kurbel::simulate::DeepTruth& truth) {
    kurbel::WheelConfig& wheel = recording.config.crank_wheel;
    if (truth.true_deg.size() != static_cast<std::size_t>(wheel.teeth)) return;
    // Angles count from the first tooth.
    const double first_deg = truth.true_deg.front();
    for (std::size_t i = 0; i < truth.true_deg.size(); ++i)
        wheel.angle_deg[i] = static_cast<float>(truth.true_deg[i] - first_deg);
    wheel.tdc1_deg -= first_deg - truth.nominal_deg.front();
    wheel.tdc1_deg += wheel.tdc1_deg < 0.0 ? 360.0 : (wheel.tdc1_deg > 360.0 ? -360.0 : 0.0);
    wheel.positions = 0;
}

/// Calls a misfire where `found` says so; what is unjudged stays so.
template <class Found>
std::function<void(kurbel::Event&)> by(Found found) {
    return [=](kurbel::Event& event) {
        if (event.verdict == kurbel::Verdict::unjudged) return;
        event.verdict = found(event) ? kurbel::Verdict::misfire : kurbel::Verdict::fired;
    };
}

/// Without the guards: whatever has evidence is judged by it.
void judge_all(kurbel::Event& event) {
    const bool guarded = event.reason == kurbel::Reason::transient || event.reason == kurbel::Reason::rough_road ||
                         event.reason == kurbel::Reason::low_torque;
    if (!guarded || !(event.evidence == event.evidence)) return;
    event.verdict = event.evidence > event.threshold ? kurbel::Verdict::misfire : kurbel::Verdict::fired;
    event.reason = kurbel::Reason::none;
}

constexpr Kind kKinds[] = {Kind::steady, Kind::transient, Kind::cold, Kind::rough, Kind::healthy};

}  // namespace

std::vector<Variant> variants(const kurbel::Settings& settings) {
    std::vector<Variant> list;
    const auto add = [&](const char* name) -> Variant& {
        list.push_back({name, {}, {}, settings, false});
        return list.back();
    };
    const auto told_otherwise = [&](const char* name, Tamper tamper) {
        add(name).tamper = [tamper](Recording& recording, const kurbel::simulate::DeepTruth&) { tamper(recording); };
    };
    add("as it comes");
    told_otherwise("no load channel", no_load());
    told_otherwise("load 60 ms late", load_late(0.06));
    told_otherwise("load 5 % low", [](Recording& recording) { scale_load(recording, 0.95); });
    told_otherwise("no geometry, masses, inertia", told(forget_geometry));
    told_otherwise("inertia told 20 % high", told([](EngineConfig& engine) { engine.inertia_kg_m2 *= 1.2; }));
    told_otherwise("inertia told 20 % low", told([](EngineConfig& engine) { engine.inertia_kg_m2 *= 0.8; }));
    told_otherwise("reciprocating mass told 20 % high",
                   told([](EngineConfig& engine) { engine.reciprocating_kg *= 1.2; }));
    told_otherwise("crank pins not told", told([](EngineConfig& engine) { engine.throw_number = {}; }));
    told_otherwise("sensor's end not told",
                   [](Recording& recording) { recording.config.crank_wheel.at = kurbel::SensorAt::unknown; });
    told_otherwise("no cam", forget_cam);
    add("each tooth's true place told").tamper = tell_true_wheel;
    add("limit at half of the work lost").judge_anew = by([](const kurbel::Event& e) { return e.severity > 0.5; });
    add("limit at 4.11 deviations, as if normal").judge_anew =
        by([](const kurbel::Event& e) { return e.evidence > 4.11; });  // normal quantile of 2e-5
    add("no guards").judge_anew = judge_all;
    add("single precision").single_precision = true;
    add("the classic's own threshold").settings.method = kurbel::Method::segment_roughness;
    return list;
}

std::vector<Outcome> ablate(const Cell& cell, const RunOptions& options, const std::vector<Variant>& variants) {
    std::vector<Outcome> outcomes(variants.size());
    for (Outcome& outcome : outcomes) outcome.cell = &cell;
    const auto enough = [&](int engines) { return holds_enough(outcomes.front(), options.amount, engines); };
    const std::string error = for_each_engine(
        cell, options, enough, [&](const Scenario& scenario, const Recorded& recorded, std::uint64_t drawn) {
            for (std::size_t v = 0; v < variants.size(); ++v) {
                Recording changed = recorded.recording;
                if (variants[v].tamper) variants[v].tamper(changed, recorded.truth);
                Judged judged = judge(scenario, changed, variants[v].settings, variants[v].single_precision);
                if (variants[v].judge_anew)
                    for (Firing& firing : judged.firings)
                        if (firing.has_event) variants[v].judge_anew(firing.event);
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
