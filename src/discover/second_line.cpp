#include "discover/second_line.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>

namespace kurbel::discover {

namespace {

constexpr double kTurn_deg = 360.0;
constexpr double kCycle_deg = 720.0;
/// Marks of one cluster stand no farther from each other than this: less than two cam edges, more than a phaser does at once.
constexpr double kOneMark_deg = 20.0;

/// Degrees after place 0 of revolution 0 of the section, of times that fall into whole revolutions; others are left out.
class Clock {
  public:
    Clock(const std::vector<double>& edge_s, const std::vector<Lap>& laps, const ToothPattern& pattern)
        : edge_s_(edge_s), laps_(laps), pattern_(pattern), edges_(static_cast<int>(pattern.nominal_deg.size())) {}

    [[nodiscard]] std::optional<double> deg(double time_s) const {
        const auto next = std::upper_bound(edge_s_.begin(), edge_s_.end(), time_s);
        if (next == edge_s_.begin() || next == edge_s_.end()) return {};
        const auto edge = static_cast<std::size_t>(next - edge_s_.begin()) - 1;
        const auto lap = std::upper_bound(laps_.begin(), laps_.end(), edge,
                                          [](std::size_t value, const Lap& each) { return value < each.first; });
        if (lap == laps_.begin()) return {};
        const Lap& in = *(lap - 1);
        const auto interval = static_cast<int>(edge - in.first);
        if (interval >= edges_) return {};
        const double begin = tooth_deg(interval);
        const double share = (time_s - edge_s_[edge]) / (edge_s_[edge + 1] - edge_s_[edge]);
        return kTurn_deg * static_cast<double>(in.number) + begin + share * (tooth_deg(interval + 1) - begin);
    }

  private:
    /// Of the tooth that begins interval `i` of a lap.
    [[nodiscard]] double tooth_deg(int i) const {
        const int from = i - pattern_.first;
        const int turns = from < 0 ? -1 : from / edges_;
        return pattern_.nominal_deg[static_cast<std::size_t>(from - turns * edges_)] + kTurn_deg * turns;
    }

    const std::vector<double>& edge_s_;
    const std::vector<Lap>& laps_;
    const ToothPattern& pattern_;
    int edges_;
};

struct Cluster {
    double deg = 0.0;
    std::size_t count = 0;
};

/// Groups of neighbouring angles on a circle of 720 degrees.
std::vector<Cluster> clusters(std::vector<double> deg) {
    std::vector<Cluster> all;
    if (deg.empty()) return all;
    std::sort(deg.begin(), deg.end());
    // Begin behind the widest empty stretch.
    std::size_t begin = 0;
    double widest = deg.front() + kCycle_deg - deg.back();
    for (std::size_t i = 1; i < deg.size(); ++i)
        if (deg[i] - deg[i - 1] > widest) {
            widest = deg[i] - deg[i - 1];
            begin = i;
        }
    double last = 0.0;
    double sum = 0.0;
    for (std::size_t i = 0; i < deg.size(); ++i) {
        const std::size_t at = (begin + i) % deg.size();
        const double here = deg[at] + (at < begin ? kCycle_deg : 0.0);
        if (all.empty() || here - last > kOneMark_deg) {
            all.push_back({});
            sum = 0.0;
        }
        sum += here;
        last = here;
        ++all.back().count;
        all.back().deg = sum / static_cast<double>(all.back().count);
    }
    for (Cluster& each : all) each.deg -= kCycle_deg * std::floor(each.deg / kCycle_deg);
    std::sort(all.begin(), all.end(), [](const Cluster& a, const Cluster& b) { return a.deg < b.deg; });
    return all;
}

bool every_turn(const std::vector<Cluster>& all) {
    constexpr double kSame_deg = 5.0;
    return std::all_of(all.begin(), all.end(), [&](const Cluster& one) {
        return std::any_of(all.begin(), all.end(), [&](const Cluster& other) {
            return std::abs(std::remainder(one.deg + kTurn_deg - other.deg, kCycle_deg)) < kSame_deg;
        });
    });
}

}  // namespace

MarkLap mark_lap(const std::vector<double>& edge_s, const std::vector<double>& mark_s) {
    std::vector<std::size_t> behind;
    std::size_t next = 0;
    for (const double mark : mark_s) {
        while (next < edge_s.size() && edge_s[next] <= mark) ++next;
        if (next > 0 && next < edge_s.size()) behind.push_back(next);
    }
    constexpr std::size_t kFewestLaps = 6;
    constexpr double kMostlyEqual = 0.6;
    MarkLap few;     // nearly comes back: one edge more or fewer, of few
    MarkLap nearly;  // the same of many
    for (std::size_t marks = 1; marks <= static_cast<std::size_t>(kMaxCamEdges); ++marks) {
        if (behind.size() < marks + kFewestLaps) break;
        std::map<std::size_t, int> count;
        for (std::size_t j = 0; j + marks < behind.size(); ++j) ++count[behind[j + marks] - behind[j]];
        const auto most = std::max_element(count.begin(), count.end(),
                                           [](const auto& a, const auto& b) { return a.second < b.second; });
        // A mark beside an edge counts one edge more or fewer now and then; among few edges one more may be another place.
        const auto of = [&](std::size_t edges) { return count.contains(edges) ? count.at(edges) : 0; };
        const auto all = static_cast<double>(behind.size() - marks);
        const double near = (of(most->first) + of(most->first - 1) + of(most->first + 1)) / all;
        if (near < kMostlyEqual || most->first == 0) continue;
        constexpr std::size_t kMany = 40;
        constexpr double kAlwaysEqual = 0.8;
        const bool always = most->second >= kAlwaysEqual * all;
        const MarkLap lap{static_cast<int>(marks), static_cast<int>(most->first), most->second / all};
        // Marks at places of their own come back exactly once all of them are counted.
        if (always) return lap;
        MarkLap& first = most->first < kMany ? few : nearly;
        if (first.marks == 0) first = lap;
    }
    // Several laps of a mark that wavers beside an edge are one, several times.
    const bool same =
        few.marks > 0 && nearly.marks % few.marks == 0 && nearly.edges == nearly.marks / few.marks * few.edges;
    return nearly.marks > 0 && same ? few : nearly;
}

CamFinding place_marks(const std::vector<double>& edge_s, const std::vector<double>& mark_s, const Fold& turns,
                       const ToothPattern& pattern) {
    CamFinding finding;
    finding.edges_seen = static_cast<std::int64_t>(mark_s.size());
    if (mark_s.empty()) {
        finding.why = "There are no edges on a second line.";
        finding.raise = "Record a cam sensor on a second channel: it tells which of two revolutions is which.";
        return finding;
    }
    const std::vector<Lap> laps = longest_section(turns);
    const Clock clock(edge_s, laps, pattern);
    std::vector<double> deg;
    for (const double mark : mark_s)
        if (const std::optional<double> at = clock.deg(mark); at)
            deg.push_back(*at - kCycle_deg * std::floor(*at / kCycle_deg));
    const double cycles = 0.5 * static_cast<double>(laps.size());
    constexpr double kFewestCycles = 5.0;
    std::vector<Cluster> all = clusters(deg);
    std::erase_if(all, [&](const Cluster& each) { return static_cast<double>(each.count) < 0.3 * cycles; });
    double counted = 0.0;
    for (const Cluster& each : all) counted += static_cast<double>(each.count);
    if (cycles < kFewestCycles || all.empty() || all.size() > static_cast<std::size_t>(kMaxCamEdges) ||
        counted < 0.7 * static_cast<double>(deg.size())) {
        finding.why = "The edges of the second line do not come back at the same crank angles.";
        finding.raise = "Check which sensor the second line is, and its wiring; record at least ten seconds.";
        return finding;
    }
    finding.tells_turn = every_turn(all);
    finding.tells_cycle = !finding.tells_turn;
    for (const Cluster& each : all) finding.edge_deg.push_back(each.deg);
    // A revolution that was lost on the way puts each edge at two angles, at each of them in a part of the cycles.
    double least = cycles;
    for (const Cluster& each : all) least = std::min(least, static_cast<double>(each.count));
    finding.confidence = std::min({0.999, counted / static_cast<double>(deg.size()), least / cycles});
    constexpr double kMostCycles = 0.75;
    finding.sureness = finding.confidence > 0.9           ? Sureness::sure
                       : finding.confidence > kMostCycles ? Sureness::likely
                                                          : Sureness::not_sure;
    finding.why = finding.tells_turn
                      ? "The second line comes back every revolution: it marks a place of the crank, not the cycle."
                      : "The second line comes back every two revolutions: it tells which of the two this is.";
    if (finding.sureness == Sureness::not_sure)
        finding.raise = "Some edges come back in a part of the cycles only: check both sensors and their wiring.";
    else if (finding.tells_turn)
        finding.raise = "A cam sensor in its place, or beside it, would tell the two revolutions of a cycle apart.";
    return finding;
}

}  // namespace kurbel::discover
