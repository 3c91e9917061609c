#include "discover/wheel_finding.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace kurbel::discover {

namespace {

constexpr double kSure = 0.99;
constexpr double kLikely = 0.9;

Sureness sureness_of(double confidence) {
    return confidence >= kSure ? Sureness::sure : confidence >= kLikely ? Sureness::likely : Sureness::not_sure;
}

}  // namespace

bool has_gap(const ToothPattern& pattern) {
    return std::any_of(pattern.pitches.begin(), pattern.pitches.end(), [](int pitches) { return pitches > 1; });
}

void settle(WheelSearch& search, double confidence, std::string why, std::string raise) {
    search.finding.confidence = confidence;
    search.finding.sureness = sureness_of(confidence);
    search.finding.why = std::move(why);
    search.finding.raise = std::move(raise);
}

void describe(const std::vector<double>& edge_s, WheelSearch& search) {
    search.pattern = read_pattern(edge_s, search.turns);
    WheelFinding& finding = search.finding;
    const ToothPattern& pattern = search.pattern;
    finding.teeth = search.turns.edges;
    finding.positions = pattern.positions;
    finding.measured_deg = pattern.measured_deg;
    finding.angle_deg = pattern.nominal_deg;
    finding.turns = search.turns.possible;
    finding.whole_share = std::min(1.0, search.turns.whole_share());
    if (pattern.positions > 0) {
        int place = 0;
        finding.misplaced_deg = 0.0;
        for (std::size_t i = 0; i < pattern.pitches.size(); ++i) {
            for (int gone = 1; gone < pattern.pitches[i]; ++gone) finding.absent.push_back(place + gone);
            place += pattern.pitches[i];
            finding.misplaced_deg =
                std::max(finding.misplaced_deg, std::abs(pattern.measured_deg[i] - pattern.nominal_deg[i]));
        }
    }
}

}  // namespace kurbel::discover
