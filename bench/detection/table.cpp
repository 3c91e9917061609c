#include "table.hpp"

#include <cmath>
#include <cstdio>

namespace kurbel_detection {

namespace {

std::string number(double value, const char* form = "%.6g") {
    if (std::isnan(value)) return "";
    char text[64];
    std::snprintf(text, sizeof text, form, value);
    return text;
}

/// Percent: one decimal from 10 on, two below, three below 0.1; "-" of none.
std::string percent(double share) {
    if (std::isnan(share)) return "-";
    const double value = 100.0 * share;
    return number(value, value < 0.1 ? "%.3f" : (value < 10.0 ? "%.2f" : "%.1f"));
}

/// "0.28 [0.03, 1.00]": percent and its exact 95 % interval.
std::string with_interval(const kurbel::Share& share) {
    if (share.of == 0) return "-";
    const kurbel::Interval interval = share.interval();
    return percent(share.rate()) + " [" + percent(interval.low) + ", " + percent(interval.high) + "]";
}

std::string met(const Outcome& outcome) {
    const std::string text = shortfall(outcome);
    if (!text.empty()) return outcome.cell->kind == Kind::beyond ? "(" + text + ")" : "NO: " + text;
    return outcome.cell->kind == Kind::beyond ? "(yes)" : "yes";
}

std::string row(const Outcome& o) {
    std::string text = "| " + o.cell->name;
    const auto add = [&](const std::string& cell) { text += " | " + cell; };
    add(std::string(name(o.cell->kind)));
    add(std::to_string(o.engines));
    add(std::to_string(o.false_alarms.of));
    add(std::to_string(o.missed.of));
    add(with_interval(o.missed));
    add(with_interval(o.false_alarms));
    add(percent(o.wrong_cylinder.rate()));
    add(o.auc != o.auc ? "-" : number(o.auc, "%.5f"));
    add(percent(o.unjudged.rate()));
    add(number(o.delay_median, "%.1f") + " / " + number(o.delay_longest, "%.1f"));
    for (const Rival& rival : o.rivals) add(percent(rival.missed.rate()));
    add(met(o));
    return text + " |\n";
}

std::string sums(const std::vector<Outcome>& outcomes) {
    kurbel::Share missed;
    kurbel::Share false_alarms;
    kurbel::Share healthy_alone;
    kurbel::Share weak_called;
    int asked = 0;
    int stalled = 0;
    int yes = 0;
    for (const Outcome& o : outcomes) {
        stalled += o.stalled;
        if (o.cell->kind == Kind::beyond) continue;
        ++asked;
        if (shortfall(o).empty()) ++yes;
        missed.count += o.missed.count;
        missed.of += o.missed.of;
        false_alarms.count += o.false_alarms.count;
        false_alarms.of += o.false_alarms.of;
        weak_called.count += o.weak_called.count;
        weak_called.of += o.weak_called.of;
        if (o.cell->kind != Kind::healthy) continue;
        healthy_alone.count += o.false_alarms.count;
        healthy_alone.of += o.false_alarms.of;
    }
    return "\n" + std::to_string(yes) + " of " + std::to_string(asked) +
           " cells that something is promised of meet it. In them, missed " + with_interval(missed) +
           " %, false alarms " + with_interval(false_alarms) + " %; in recordings without a misfire " +
           with_interval(healthy_alone) + " % of " + std::to_string(healthy_alone.of) + ". Of " +
           std::to_string(weak_called.of) + " burns that by nature lost half of their work " +
           std::to_string(weak_called.count) + " were called. Another was drawn for " + std::to_string(stalled) +
           " engines that stalled or turned back.\n";
}

}  // namespace

std::string progress_line(const Outcome& o) {
    if (!o.error.empty()) return o.cell->name + ": " + o.error;
    std::string text = o.cell->name;
    text.resize(std::max<std::size_t>(text.size(), 34), ' ');
    text += " missed " + std::to_string(o.missed.count) + "/" + std::to_string(o.missed.of) + " (" +
            percent(o.missed.rate()) + " %, best " + percent(o.missed_at_best.rate()) + " %), false " +
            std::to_string(o.false_alarms.count) + "/" + std::to_string(o.false_alarms.of) + ", unjudged " +
            percent(o.unjudged.rate()) + " %";
    if (o.rivals[kObserver].missed.of > 0)
        text += ", observer " + percent(o.rivals[kObserver].missed.rate()) + " %, classic " +
                percent(o.rivals[kClassic].missed.rate()) + " %";
    return text + "  " + met(o) + "  [" + number(o.simulating_s, "%.1f") + " + " + number(o.detecting_s, "%.1f") +
           " s]";
}

std::string markdown(const std::vector<Outcome>& outcomes) {
    std::string text =
        "| cell | kind | engines | healthy | misfires | missed % [95 %] | false alarms % [95 %] | wrong cylinder % | "
        "AUC | unjudged % | "
        "delay, firings | classic % | cycle difference % | order phasor % | observer % | met |\n"
        "|---|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|---|\n";
    for (const Outcome& o : outcomes) text += row(o);
    return text + sums(outcomes);
}

std::string cells_csv(const std::vector<Outcome>& outcomes) {
    std::string text =
        "cell,kind,engines,seconds,healthy,false,false_without_fuel,false_surplus,weak,weak_called,misfires,missed,"
        "missed_"
        "absent,"
        "missed_cranking,missed_fuel_cut,missed_low_torque,missed_rough_road,missed_transient,missed_learning,missed_"
        "no_sync,"
        "missed_no_phase,excused,missed_at_best,wrong_cylinder,auc,judgeable,unjudged,delay_median,delay_longest,sync_"
        "losses,stalled,";
    for (const char* rival : {"classic", "cycle_difference", "order_phasor", "observer"})
        text += std::string(rival) + "_misfires," + rival + "_missed," + rival + "_auc,";
    text += "observed_misfires,missed_where_observed,simulating_s,detecting_s,shortfall,error\n";
    for (const Outcome& o : outcomes) {
        text += o.cell->name;
        const auto add = [&](const std::string& value) { text += "," + value; };
        const auto count = [&](std::int64_t value) { add(std::to_string(value)); };
        const auto reason = [&](kurbel::Reason r) { count(o.missed_for[static_cast<std::size_t>(r)]); };
        add(std::string(name(o.cell->kind)));
        count(o.engines);
        add(number(o.seconds));
        for (const std::int64_t value :
             {o.false_alarms.of, o.false_alarms.count, o.false_without_fuel, o.false_surplus, o.weak_called.of,
              o.weak_called.count, o.missed.of, o.missed.count, o.missed_absent})
            count(value);
        for (const kurbel::Reason r : {kurbel::Reason::cranking, kurbel::Reason::fuel_cut, kurbel::Reason::low_torque,
                                       kurbel::Reason::rough_road, kurbel::Reason::transient, kurbel::Reason::learning,
                                       kurbel::Reason::no_sync, kurbel::Reason::no_phase})
            reason(r);
        count(o.excused);
        count(o.missed_at_best.count);
        count(o.wrong_cylinder.count);
        add(number(o.auc, "%.9g"));
        count(o.unjudged.of);
        count(o.unjudged.count);
        add(number(o.delay_median));
        add(number(o.delay_longest));
        count(o.losses);
        count(o.stalled);
        for (const Rival& rival : o.rivals) {
            count(rival.missed.of);
            count(rival.missed.count);
            add(number(rival.auc, "%.9g"));
        }
        count(o.missed_where_observed.of);
        count(o.missed_where_observed.count);
        add(number(o.simulating_s));
        add(number(o.detecting_s));
        add("\"" + shortfall(o) + "\"");
        add("\"" + o.error + "\"\n");
    }
    return text;
}

std::string faults_csv(const std::vector<Outcome>& outcomes) {
    std::string text =
        "cell,draw,what,time_s,cylinder,true_severity,true_work_j,fuel_cut,verdict,reason,named,speed_rpm,load,"
        "severity,evidence,"
        "threshold,probability\n";
    for (const Outcome& o : outcomes)
        for (const Fault& fault : o.faults) {
            const Firing& f = fault.firing;
            const kurbel::Event& e = f.event;
            text += o.cell->name + "," + std::to_string(fault.drawn) + "," +
                    (f.kind == Truth::misfire ? "missed" : "false") + "," + number(f.truth.time_s, "%.6f") + "," +
                    std::to_string(f.truth.cylinder) + "," + number(f.truth.severity) + "," + number(f.truth.work_j) +
                    "," + (f.truth.fuel_cut ? "1" : "0") + "," + (f.has_event ? kurbel::name(e.verdict) : "absent") +
                    "," + kurbel::name(e.reason) + "," + std::to_string(e.cylinder) + "," + number(e.speed_rpm) + "," +
                    number(e.load) + "," + number(e.severity) + "," + number(e.evidence) + "," + number(e.threshold) +
                    "," + number(e.probability) + "\n";
        }
    return text;
}

}  // namespace kurbel_detection
