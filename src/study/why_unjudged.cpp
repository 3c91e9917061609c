#include "study/why_unjudged.hpp"

#include <algorithm>
#include <array>
#include <cstdint>

#include "text/text.hpp"

namespace kurbel {

namespace {

/// A run shorter than this cannot show two firings of a cylinder.
constexpr std::int64_t kFewestTurns = 4;

const char* what_to_do(Reason reason) {
    switch (reason) {
        case Reason::cranking: return "the engine was only cranked; record it running, for a minute or more";
        case Reason::learning: return "the recording ends before the engine is learned; record 30 s or more";
        case Reason::fuel_cut: return "the fuel was cut; record it with fuel";
        case Reason::low_torque: return "there was too little torque for a misfire to show; record under more load";
        case Reason::rough_road: return "the road shook the driveline; record on a smoother road";
        case Reason::transient: return "the speed changed all the time; record at a steady speed";
        case Reason::no_phase: return "it never became clear which revolution is which; record the cam signal too";
        case Reason::no_sync: break;
        case Reason::none: return "record again with the engine running steadily";
    }
    return "the wheel's position was never found; check [crank_wheel] against the wheel (kurbel inspect reads it from "
           "the edges), and that the engine runs";
}

}  // namespace

std::string why_unjudged(const JudgedRecording& recording) {
    if (recording.events.empty() && recording.sync.edges < kFewestTurns * recording.config.crank_wheel.teeth)
        return "the crank hardly turned (" + text::counted(recording.sync.edges, "edge") +
               " in all), so the engine had stopped or the signal was lost; keep it running while you record, at a "
               "raised idle where it will not idle by itself, and check the sensor's lead";
    std::array<std::int64_t, 9> counts{};
    for (const Event& event : recording.events) ++counts[static_cast<std::size_t>(event.reason) % counts.size()];
    const auto most = static_cast<Reason>(std::max_element(counts.begin(), counts.end()) - counts.begin());
    return what_to_do(most);
}

}  // namespace kurbel
