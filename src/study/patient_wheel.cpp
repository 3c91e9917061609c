#include "kurbel/study/patient_wheel.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>

namespace kurbel {

namespace {

constexpr double kStandstill_s = 0.5;
/// Bend of the logarithm of speed from tooth to tooth that is nothing special, per degree of pitch: where compression takes
/// two thirds of the speed within 60 degrees, three teeth of 10 degrees bend by about a tenth.
constexpr double kUsualBend = 0.04;
constexpr double kBendPerDeg = 0.015;
constexpr double kMostCost = 36.0;  ///< one strange tooth does not decide
constexpr double kFaultCost = 60.0;

enum Step : std::uint8_t { kBegin, kNext, kSkipOne, kNoTooth };

/// One story's end: where it is and how it moves.
struct End {
    double cost = 0.0;
    std::int64_t tick = 0;
    double speed = 0.0;  ///< logarithm of degrees a tick
    double bend = 0.0;   ///< its last change
    int known = 0;       ///< 0 a tooth, 1 a speed, 2 a change
};

class Stories {
  public:
    Stories(const std::int64_t* edge, std::size_t edges, const WheelConfig& wheel)
        : edge_(edge), edges_(edges), wheel_(wheel), teeth_(static_cast<std::size_t>(wheel.teeth)) {
        const double pitch = 360.0 / std::max(wheel.positions, wheel.teeth);
        scale_ = kUsualBend + kBendPerDeg * pitch;
        step_.assign(edges_ * teeth_, kBegin);
    }

    PlacedTrack best() {
        std::vector<End> now(teeth_);
        std::vector<End> next(teeth_);
        for (End& end : now) end.tick = edge_[0];
        for (std::size_t i = 1; i < edges_; ++i) {
            for (std::size_t p = 0; p < teeth_; ++p) next[p] = cheapest(now, i, p);
            std::swap(now, next);
        }
        std::size_t place = 0;
        for (std::size_t p = 1; p < teeth_; ++p)
            if (now[p].cost < now[place].cost) place = p;
        return trace_back(place);
    }

  private:
    [[nodiscard]] std::size_t before(std::size_t p, std::size_t by) const { return (p + teeth_ - by) % teeth_; }

    [[nodiscard]] double angle_deg(std::size_t from, std::size_t to) const {
        const double step = static_cast<double>(wheel_.angle_deg[to]) - static_cast<double>(wheel_.angle_deg[from]);
        return step > 0.0 ? step : step + 360.0;
    }

    [[nodiscard]] End follow(const End& end, std::int64_t tick, double step_deg, double fault) const {
        End after = end;
        after.tick = tick;
        after.cost += fault;
        after.speed = std::log(step_deg / static_cast<double>(std::max<std::int64_t>(tick - end.tick, 1)));
        after.bend = end.known > 0 ? after.speed - end.speed : 0.0;
        after.known = std::min(end.known + 1, 2);
        if (end.known > 0) {
            const double off = (after.bend - (end.known > 1 ? std::clamp(end.bend, -0.5, 0.5) : 0.0)) / scale_;
            after.cost += std::min(off * off, kMostCost);
        }
        return after;
    }

    End cheapest(const std::vector<End>& now, std::size_t i, std::size_t p) {
        std::uint8_t& step = step_[i * teeth_ + p];
        const std::size_t one = before(p, 1);
        const std::size_t two = before(p, 2);
        End best = follow(now[one], edge_[i], angle_deg(one, p), 0.0);
        step = kNext;
        if (now[two].cost + kFaultCost < best.cost) {
            const End skipped = follow(now[two], edge_[i], angle_deg(two, p), kFaultCost);
            if (skipped.cost < best.cost) {
                best = skipped;
                step = kSkipOne;
            }
        }
        if (now[p].cost + kFaultCost < best.cost) {
            best = now[p];
            best.cost += kFaultCost;
            step = kNoTooth;
        }
        return best;
    }

    PlacedTrack trace_back(std::size_t place) const {
        PlacedTrack track;
        std::int64_t absolute = 0;
        for (std::size_t i = edges_; i-- > 0;) {
            const auto step = static_cast<Step>(step_[i * teeth_ + place]);
            if (step == kNoTooth) {
                ++track.extra;
                continue;
            }
            track.teeth.push_back({edge_[i], absolute});
            if (step == kBegin) break;
            const std::size_t by = step == kSkipOne ? 2 : 1;
            track.missed += step == kSkipOne ? 1 : 0;
            absolute -= static_cast<std::int64_t>(by);
            place = before(place, by);
        }
        std::reverse(track.teeth.begin(), track.teeth.end());
        // The first tooth's own index, so that place modulo teeth is the tooth of the wheel.
        const std::int64_t shift = static_cast<std::int64_t>(place) - absolute;
        for (PlacedTooth& tooth : track.teeth) tooth.place += shift;
        return track;
    }

    const std::int64_t* edge_;
    std::size_t edges_;
    const WheelConfig& wheel_;
    std::size_t teeth_;
    double scale_ = 0.1;
    std::vector<std::uint8_t> step_;
};

/// Whether turning the wheel by some teeth leaves it as it is.
bool looks_the_same(const WheelConfig& wheel) {
    const auto teeth = static_cast<std::size_t>(wheel.teeth);
    const auto width = [&](std::size_t i) {
        const double step =
            static_cast<double>(wheel.angle_deg[(i + 1) % teeth]) - static_cast<double>(wheel.angle_deg[i % teeth]);
        return step > 0.0 ? step : step + 360.0;
    };
    for (std::size_t turn = 1; turn < teeth; ++turn) {
        bool same = true;
        for (std::size_t i = 0; i < teeth && same; ++i) same = std::fabs(width(i) - width(i + turn)) < 0.5;
        if (same) return true;
    }
    return teeth < 2;
}

}  // namespace

PlacedTrack place_teeth(const std::vector<std::int64_t>& edge, const WheelConfig& wheel, double hz) {
    PlacedTrack longest;
    if (looks_the_same(wheel)) return longest;
    std::size_t begin = 0;
    std::size_t best_begin = 0;
    std::size_t best_size = 0;
    for (std::size_t i = 1; i <= edge.size(); ++i) {
        const bool ends = i == edge.size() || static_cast<double>(edge[i] - edge[i - 1]) > kStandstill_s * hz;
        if (!ends) continue;
        if (i - begin > best_size) {
            best_begin = begin;
            best_size = i - begin;
        }
        begin = i;
    }
    if (best_size < 2 * static_cast<std::size_t>(wheel.teeth)) return longest;
    return Stories(edge.data() + best_begin, best_size, wheel).best();
}

}  // namespace kurbel
