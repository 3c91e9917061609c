#include "kurbel/study/similar_conditions.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "text/text.hpp"

namespace kurbel {

namespace {

constexpr double kSpeedStep_rpm = 25.0;
constexpr double kLoadStep = 0.02;
constexpr int kSpeeds = 800;  // to 20000 rpm
constexpr int kLoads = 100;   // to twice full charge
constexpr int kWarmths = 2;

/// Where a firing lies: -1 where its speed is not known.
struct Cell {
    int speed = -1;
    int load = 0;
    int warmth = 0;
};

bool is_judged(const Event& event) { return event.verdict != Verdict::unjudged; }

/// At least half of a side's judged firings have the value.
template <class Value>
bool mostly_known(const std::vector<JudgedRecording>& side, const Value& value) {
    std::int64_t known = 0;
    std::int64_t all = 0;
    for (const JudgedRecording& recording : side)
        for (std::size_t i = 0; i < recording.events.size(); ++i) {
            if (!is_judged(recording.events[i])) continue;
            ++all;
            if (!std::isnan(value(recording, i))) ++known;
        }
    return all > 0 && 2 * known >= all;
}

double load_of(const JudgedRecording& recording, std::size_t i) { return recording.events[i].load; }
double speed_of(const JudgedRecording& recording, std::size_t i) { return recording.events[i].speed_rpm; }
double coolant_of(const JudgedRecording& recording, std::size_t i) { return recording.coolant(i); }

struct Known {
    bool load = false;
    bool temperature = false;
};

/// Unknown values among mostly known ones leave the firing out (speed -1).
Cell cell_of(const JudgedRecording& recording, std::size_t i, const Known& known) {
    const Event& event = recording.events[i];
    Cell cell;
    const double coolant = recording.coolant(i);
    if (!is_judged(event) || !(event.speed_rpm > 0.0) || (known.load && std::isnan(event.load)) ||
        (known.temperature && std::isnan(coolant)))
        return cell;
    cell.speed = std::min(static_cast<int>(event.speed_rpm / kSpeedStep_rpm), kSpeeds - 1);
    if (known.load) cell.load = std::clamp(static_cast<int>(event.load / kLoadStep), 0, kLoads - 1);
    if (known.temperature) cell.warmth = coolant >= SimilarConditions::kWarm_c ? 1 : 0;
    return cell;
}

/// How many firings of a side lie within the limits of any cell: sums over rectangles.
class Map {
  public:
    Map(const std::vector<JudgedRecording>& side, const Known& known) {
        for (auto& sums : sums_) sums.assign(static_cast<std::size_t>((kSpeeds + 1) * (kLoads + 1)), 0);
        for (const JudgedRecording& recording : side)
            for (std::size_t i = 0; i < recording.events.size(); ++i)
                if (const Cell cell = cell_of(recording, i, known); cell.speed >= 0)
                    ++at(cell.warmth, cell.speed + 1, cell.load + 1);
        for (int warmth = 0; warmth < kWarmths; ++warmth)
            for (int s = 1; s <= kSpeeds; ++s)
                for (int l = 1; l <= kLoads; ++l)
                    at(warmth, s, l) += at(warmth, s - 1, l) + at(warmth, s, l - 1) - at(warmth, s - 1, l - 1);
    }

    [[nodiscard]] std::int64_t near(const Cell& cell) const {
        constexpr int kSpeedReach = static_cast<int>(SimilarConditions::kSpeed_rpm / kSpeedStep_rpm);
        constexpr int kLoadReach = static_cast<int>(SimilarConditions::kLoad / kLoadStep + 0.5);
        const int s0 = std::max(cell.speed - kSpeedReach, 0);
        const int s1 = std::min(cell.speed + kSpeedReach + 1, kSpeeds);
        const int l0 = std::max(cell.load - kLoadReach, 0);
        const int l1 = std::min(cell.load + kLoadReach + 1, kLoads);
        return at(cell.warmth, s1, l1) - at(cell.warmth, s0, l1) - at(cell.warmth, s1, l0) + at(cell.warmth, s0, l0);
    }

  private:
    [[nodiscard]] static std::size_t index(int speed, int load) {
        return static_cast<std::size_t>(speed * (kLoads + 1) + load);
    }
    std::int64_t& at(int warmth, int s, int l) { return sums_[static_cast<std::size_t>(warmth)][index(s, l)]; }
    [[nodiscard]] std::int64_t at(int warmth, int s, int l) const {
        return sums_[static_cast<std::size_t>(warmth)][index(s, l)];
    }
    std::array<std::vector<std::int64_t>, kWarmths> sums_;
};

std::int64_t keep(const std::vector<JudgedRecording>& side, const Map& other, const Known& known, Kept& kept) {
    std::int64_t count = 0;
    for (const JudgedRecording& recording : side) {
        const std::int64_t least = CommonFirings::kLeastFirings * recording.config.engine.cylinders;
        std::vector<bool> flags(recording.events.size(), false);
        for (std::size_t i = 0; i < flags.size(); ++i) {
            const Cell cell = cell_of(recording, i, known);
            flags[i] = cell.speed >= 0 && other.near(cell) >= least;
            count += flags[i] ? 1 : 0;
        }
        kept.push_back(std::move(flags));
    }
    return count;
}

template <class Value>
double median(const std::vector<JudgedRecording>& side, const Value& value) {
    std::vector<double> values;
    for (const JudgedRecording& recording : side)
        for (std::size_t i = 0; i < recording.events.size(); ++i)
            if (is_judged(recording.events[i]) && !std::isnan(value(recording, i)))
                values.push_back(value(recording, i));
    if (values.empty()) return kUnknown;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

}  // namespace

OperatingPoint operating_point(const std::vector<JudgedRecording>& side) {
    OperatingPoint point;
    for (const JudgedRecording& recording : side) point.judged += recording.judged();
    point.speed_rpm = median(side, speed_of);
    point.load = median(side, load_of);
    point.coolant_c = median(side, coolant_of);
    return point;
}

std::string in_words(const OperatingPoint& point) {
    std::string words = std::isnan(point.speed_rpm) ? "unknown speed" : text::format("%.0f rpm", point.speed_rpm);
    if (!std::isnan(point.load)) words += text::format(", %.0f %% load", 100.0 * point.load);
    if (!std::isnan(point.coolant_c)) words += text::format(", coolant at %.0f degrees Celsius", point.coolant_c);
    return words;
}

CommonFirings common_firings(const std::vector<JudgedRecording>& before, const std::vector<JudgedRecording>& after) {
    CommonFirings common;
    common.load_known = mostly_known(before, load_of) && mostly_known(after, load_of);
    common.temperature_known = mostly_known(before, coolant_of) && mostly_known(after, coolant_of);
    const Known known{common.load_known, common.temperature_known};
    const Map map_before(before, known);
    const Map map_after(after, known);
    common.kept_before = keep(before, map_after, known, common.before);
    common.kept_after = keep(after, map_before, known, common.after);
    return common;
}

}  // namespace kurbel
