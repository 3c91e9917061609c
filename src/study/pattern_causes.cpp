// What a pattern is common for. Everything here is common practice without a source, and says so wherever it is shown.
#include <algorithm>

#include "study/pattern_rows.hpp"

namespace kurbel::study {

namespace {

const ConditionEffect& effect_of(const PatternRow& row, Condition condition) {
    return row.conditions[static_cast<std::size_t>(condition)];
}

/// Cylinders (or halves of pairs) with a tenth of the worst one's misfires or more.
int guilty(const Pattern& pattern) {
    const std::int64_t most = pattern.rows[static_cast<std::size_t>(pattern.worst)].misfires;
    return static_cast<int>(std::count_if(pattern.rows.begin(), pattern.rows.end(), [&](const PatternRow& row) {
        return !row.all() && row.misfires > 0 && row.misfires * 10 >= most;
    }));
}

void by_condition(const PatternRow& row, bool several, std::vector<CommonCause>& causes) {
    const auto lean = [&](Condition condition) { return effect_of(row, condition).lean; };
    if (lean(Condition::load) == Lean::rises)
        causes.push_back({"rate rises with load",
                          several
                              ? "fuel supply that falls short when much is asked for (pump, filter, pressure), or weak "
                                "ignition supply"
                              : "ignition: plug gap too wide, weak coil, leaking lead or boot (the spark needs more "
                                "voltage in a full cylinder); also an injector that gives too little when open long"});
    if (lean(Condition::load) == Lean::falls)
        causes.push_back(
            {"rate falls with load",
             several ? "lean mixture at low load: false air behind the throttle, exhaust recirculation that "
                       "stays open"
                     : "lean mixture in that cylinder at low load: false air at its runner, a sticking or dirty "
                       "injector; also a valve that leaks a little, which matters least when the charge is large"});
    if (lean(Condition::speed) == Lean::rises)
        causes.push_back(
            {"rate rises with speed",
             "coil with too little time to charge, weak valve spring, fuel supply at its limit, contacts that "
             "open when shaken"});
    if (lean(Condition::speed) == Lean::falls)
        causes.push_back(
            {"rate falls with speed",
             "lean or uneven mixture near idle, false air, leaking valve or ring (there is more time to leak at "
             "low speed)"});
    if (lean(Condition::speed) == Lean::peaks)
        causes.push_back(
            {"rate is highest in one range of speed",
             "something that resonates there: a connector or lead that shakes loose, a wave in intake or fuel "
             "rail"});
    if (lean(Condition::coolant) == Lean::falls || lean(Condition::time) == Lean::falls)
        causes.push_back(
            {"rate falls as the engine warms up or runs on",
             "mixture too lean when cold, an injector that drips while standing, moisture in the ignition, coolant "
             "that seeped into the cylinder while standing, valves with deposits"});
    if (lean(Condition::coolant) == Lean::rises || lean(Condition::time) == Lean::rises)
        causes.push_back(
            {"rate rises as the engine warms up or runs on",
             "a coil or sensor that fails when hot, fuel that boils in its line, valve clearance that closes"});
}

void by_kind(const PatternRow& row, std::vector<CommonCause>& causes) {
    if (row.kind == PatternKind::continuous)
        causes.push_back(
            {"misfires all the time, under all conditions seen",
             "a dead coil or injector, an open wire, or a cylinder without compression (valve, ring, gasket)"});
    if (row.kind == PatternKind::bursts)
        causes.push_back(
            {"misfires come in bursts",
             "a contact that opens and closes (connector, wire, coil), air or water in the fuel, a sensor signal "
             "that drops out"});
    if (row.kind == PatternKind::periodic)
        causes.push_back(
            {"misfires at a steady distance",
             "something that turns or is switched in step with the engine: a control that cuts firings on purpose, "
             "or a regular pulse in supply or recirculation"});
}

}  // namespace

std::vector<CommonCause> common_causes(const Pattern& pattern) {
    std::vector<CommonCause> causes;
    if (pattern.worst < 0) return causes;
    const PatternRow& row = pattern.rows[static_cast<std::size_t>(pattern.worst)];
    if (row.kind == PatternKind::none) return causes;
    const bool several = guilty(pattern) > 1;
    by_condition(row, several, causes);
    by_kind(row, causes);
    constexpr double kSure = 0.01;
    const bool together = row.p_together <= kSure && row.together_ratio >= 2.0;
    if (together)
        causes.push_back(
            {"cylinders misfire in the same cycles",
             "something that they share: fuel pressure, ignition supply, a crank or cam signal, one coil for two "
             "cylinders"});
    const bool compared = std::any_of(row.conditions.begin(), row.conditions.end(),
                                      [](const ConditionEffect& effect) { return effect.varied; });
    const bool matters = std::any_of(row.conditions.begin(), row.conditions.end(),
                                     [](const ConditionEffect& effect) { return effect.matters(); });
    if (row.kind == PatternKind::random && !matters)
        causes.push_back({compared ? "misfires at random, with no condition that was seen to matter"
                                   : "misfires at random, under conditions that hardly changed",
                          several
                              ? "mixture or supply of all cylinders, worn plugs"
                              : "a worn or dirty injector or plug; many parts can do this, so it separates little"});
    return causes;
}

}  // namespace kurbel::study
