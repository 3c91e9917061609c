#include "kurbel/study/cautions.hpp"

namespace kurbel {

const char* caution_text(Caution caution) noexcept {
    switch (caution) {
        case Caution::running_engine:
            return "Keep hands, hair, clothes, leads and tools away from belts, fans and shafts of a running engine; "
                   "an "
                   "electric fan can start by itself. Park on level ground, brake set, out of gear.";
        case Caution::ignition_voltage:
            return "Ignition coils, leads and plugs carry tens of thousands of volts while the engine turns: switch "
                   "off "
                   "before touching them, and never pull a lead or coil from a running engine.";
        case Caution::hot_exhaust:
            return "Exhaust, manifold and catalyst burn skin and set fire to dry grass, rags and spilt fuel: let them "
                   "cool before working near them.";
        case Caution::unburnt_fuel:
            return "Unburnt fuel of a misfiring cylinder burns in the exhaust and can destroy the catalyst and start a "
                   "fire. If the warning lamp blinks, take off the load and stop as soon as it is safe; do not drive "
                   "on "
                   "to collect data.";
        case Caution::carbon_monoxide:
            return "Exhaust gas holds carbon monoxide, which kills without a smell: run the engine outdoors or with "
                   "exhaust extraction only.";
        case Caution::before_cranking:
            return "Before cranking, disable fuel and ignition as the maker says, take the car out of gear and keep "
                   "everybody clear: an engine that is only meant to turn can start.";
        case Caution::fuel_pressure:
            return "Fuel lines and rails stay under pressure when the engine stands, in direct injection enough to go "
                   "through skin: relieve the pressure as the maker says before an injector or line is opened, with no "
                   "flame or spark near and an extinguisher at hand.";
        case Caution::long_cranking:
            return "Cranking heats starter, cables and battery: no more than ten seconds at a time, with a pause; "
                   "batteries give off gas that explodes, so keep sparks away.";
    }
    return "";
}

std::vector<std::string> cautions(std::initializer_list<Caution> wanted) {
    std::vector<std::string> sentences{
        "Local rules, the maker's procedure and licensed practice come before anything said here."};
    for (const Caution caution : wanted) sentences.emplace_back(caution_text(caution));
    return sentences;
}

}  // namespace kurbel
