// What can hurt people or machines around the work that a study asks for: written once, chosen where it belongs.
#pragma once

#include <initializer_list>
#include <string>
#include <vector>

namespace kurbel {

enum class Caution {
    running_engine,    ///< belts, fans and shafts of a running engine
    ignition_voltage,  ///< coils, leads and plugs
    hot_exhaust,       ///< burns, and fire under the car
    unburnt_fuel,      ///< a misfire overheats the catalyst; driving with a blinking lamp
    carbon_monoxide,   ///< engines that run indoors
    before_cranking,   ///< fuel and ignition disabled before the starter turns the engine
    fuel_pressure,     ///< before an injector or a fuel line is opened
    long_cranking      ///< heat of starter and cables, gas of the battery
};

/// The sentence for one hazard. Usual workshop practice (common practice, no source).
[[nodiscard]] const char* caution_text(Caution caution) noexcept;

/// That local rules, the maker's procedure and licensed practice come first; then the sentences asked for, in that order.
[[nodiscard]] std::vector<std::string> cautions(std::initializer_list<Caution> wanted);

}  // namespace kurbel
