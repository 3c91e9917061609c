// Where in the engine cycle the wheel stands, told by cam edges.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/wheel_table.hpp"

namespace kurbel::decoding {

/// Matches the cam edges of about one cycle with the declared pattern. What is sought is the rotation: by how many
/// periods of the wheel the decoder's count is off. An ordinary wheel leaves two rotations (which half of the cycle), a
/// plain ring gear one for each tooth.
///
/// Each rotation that brings the newest edge onto a declared one is scored over the edges of the last cycle: +1 for an
/// edge that fits, -1 for one that does not, -1 for a declared edge that was not seen. It is believed when it leads all
/// others by kLead, so a single missed or extra cam edge does not decide; and against an earlier belief only when a
/// second cycle says the same.
class CamPhase {
  public:
    enum class Answer : std::uint8_t {
        nothing,   ///< no news
        rotation,  ///< the count is off by rotation_deg(); which half of the cycle may remain open, see half_known()
    };

    void configure(const CamConfig& cam, const EngineConfig& engine, const WheelTable& wheel, double tdc1_deg) noexcept;
    void reset() noexcept {
        seen_ = 0;
        index_known_ = rotations_in_revolution_ == 1;
        half_known_ = false;
        bias_deg_ = 0.0;
        contradictions_ = 0;
        started_ = false;
    }

    /// A cam edge at `turned_deg` crank degrees, counted by the decoder so that multiples of the cycle are place 0 of
    /// what it believes to be the first half.
    [[nodiscard]] Answer push(double turned_deg) noexcept;
    /// Tells from where on cam edges are seen at all, so that absent ones count.
    void begin(double turned_deg) noexcept {
        begin_deg_ = turned_deg;
        started_ = true;
    }

    /// Degrees to add to the decoder's count after Answer::rotation; the class itself has moved already.
    [[nodiscard]] double rotation_deg() const noexcept { return rotation_deg_; }
    [[nodiscard]] bool index_known() const noexcept { return index_known_; }
    [[nodiscard]] bool half_known() const noexcept { return half_known_; }
    [[nodiscard]] bool needed() const noexcept { return edges_ > 0; }

  private:
    static constexpr int kRemembered = kMaxCamEdges + 8;
    static constexpr double kWidestDeg = 30.0;  ///< a cam edge may stand so far from its place (phaser, belt, cranking)
    static constexpr int kLead = 2;
    static constexpr int kCyclesToContradict = 2;

    [[nodiscard]] double wrap(double deg) const noexcept { return deg - cycle_deg_ * std::floor(deg / cycle_deg_); }
    /// Signed distance to the nearest declared edge.
    [[nodiscard]] double distance(double cycle_angle_deg) const noexcept;
    [[nodiscard]] int score(double rotation_deg) const noexcept;
    void find_tolerance() noexcept;
    void remember(double turned_deg) noexcept;
    [[nodiscard]] Answer search(double turned_deg) noexcept;
    [[nodiscard]] Answer move(double rotation_deg, bool tells_half) noexcept;

    std::array<double, kMaxCamEdges> place_deg_{};  ///< of each edge from place 0 of the first half
    std::array<double, kRemembered> turned_deg_{};  ///< the last edges, oldest first
    double cycle_deg_ = 720.0;
    double step_deg_ = 360.0;  ///< smallest rotation of the wheel onto itself
    double tolerance_deg_ = kWidestDeg;
    double bias_deg_ = 0.0;  ///< where the edges really stand, followed slowly (a cam phaser moves them)
    double begin_deg_ = 0.0;
    double rotation_deg_ = 0.0;
    double contradicted_deg_ = 0.0;
    std::int32_t edges_ = 0;
    std::int32_t seen_ = 0;
    std::int32_t contradictions_ = 0;
    std::int32_t rotations_in_revolution_ = 1;
    bool halves_differ_ = false;  ///< the pattern moved by 360 degrees is another one
    bool index_known_ = false;
    bool half_known_ = false;
    bool started_ = false;
};

inline void CamPhase::configure(const CamConfig& cam, const EngineConfig& engine, const WheelTable& wheel,
                                double tdc1_deg) noexcept {
    cycle_deg_ = engine.cycle_deg();
    edges_ = cam.edges;
    rotations_in_revolution_ = wheel.rotations;
    step_deg_ = 360.0 / wheel.rotations;
    for (int i = 0; i < edges_; ++i)
        place_deg_[static_cast<std::size_t>(i)] = wrap(cam.edge_deg[static_cast<std::size_t>(i)] + tdc1_deg);
    find_tolerance();
    reset();
}

/// The tolerance is just under half of what the nearest rotation that can be told apart moves the pattern by.
inline void CamPhase::find_tolerance() noexcept {
    constexpr double kSameDeg = 1e-3;
    tolerance_deg_ = kWidestDeg;
    halves_differ_ = false;
    const int rotations = static_cast<int>(std::lround(cycle_deg_ / step_deg_));
    for (int r = 1; r < rotations; ++r) {
        double apart = 0.0;
        for (int i = 0; i < edges_; ++i)
            apart = std::max(apart, std::fabs(distance(place_deg_[static_cast<std::size_t>(i)] + r * step_deg_)));
        if (apart < kSameDeg) continue;
        tolerance_deg_ = std::min(tolerance_deg_, 0.45 * apart);
        if (2 * r == rotations && cycle_deg_ > 360.0) halves_differ_ = true;
    }
}

inline double CamPhase::distance(double cycle_angle_deg) const noexcept {
    double best = cycle_deg_;
    for (int i = 0; i < edges_; ++i) {
        double off = wrap(cycle_angle_deg - place_deg_[static_cast<std::size_t>(i)]);
        if (off > 0.5 * cycle_deg_) off -= cycle_deg_;
        if (std::fabs(off) < std::fabs(best)) best = off;
    }
    return best;
}

inline void CamPhase::remember(double turned_deg) noexcept {
    // Only the last cycle counts; a whole cycle back the same edge was seen.
    const double oldest = turned_deg - cycle_deg_ + tolerance_deg_;
    int drop = seen_ == kRemembered ? 1 : 0;
    while (drop < seen_ && turned_deg_[static_cast<std::size_t>(drop)] < oldest) ++drop;
    std::copy(turned_deg_.begin() + drop, turned_deg_.begin() + seen_, turned_deg_.begin());
    seen_ -= drop;
    turned_deg_[static_cast<std::size_t>(seen_++)] = turned_deg;
}

inline int CamPhase::score(double rotation_deg) const noexcept {
    int fitting = 0;
    for (int i = 0; i < seen_; ++i)
        if (std::fabs(distance(turned_deg_[static_cast<std::size_t>(i)] + rotation_deg - bias_deg_)) <= tolerance_deg_)
            ++fitting;
    // Declared edges that should have been seen between the beginning (at most a cycle ago) and the newest edge.
    const double newest = turned_deg_[static_cast<std::size_t>(seen_ - 1)];
    const double since = std::max(started_ ? begin_deg_ : newest, newest - cycle_deg_ + tolerance_deg_);
    int expected = 0;
    for (int i = 0; i < edges_; ++i) {
        const double before =
            wrap(newest + rotation_deg + tolerance_deg_ + bias_deg_ - place_deg_[static_cast<std::size_t>(i)]);
        if (before >= 2.0 * tolerance_deg_ && newest - before + tolerance_deg_ > since + tolerance_deg_) ++expected;
    }
    // The newest edge itself is expected by each rotation that is asked about.
    const int missing = std::max(0, expected + 1 - fitting);
    return fitting - (seen_ - fitting) - missing;
}

inline CamPhase::Answer CamPhase::push(double turned_deg) noexcept {
    remember(turned_deg);
    if (index_known_ && (half_known_ || !halves_differ_)) {
        const double off = distance(turned_deg - bias_deg_);
        const double slack = std::max(tolerance_deg_, 0.75 * std::min(step_deg_, 40.0));
        if (std::fabs(off) <= slack) {
            bias_deg_ += 0.125 * off;
            const double other = half_known_ ? distance(turned_deg + 360.0 - bias_deg_) : off;
            if (std::fabs(other) > slack || !half_known_) contradictions_ = 0;
            return Answer::nothing;
        }
    }
    return search(turned_deg);
}

inline CamPhase::Answer CamPhase::search(double turned_deg) noexcept {
    const double half_turn = 360.0;
    double best_deg = 0.0;
    int best = -1000;
    int best_elsewhere = -1000;  // among rotations that differ by more than the half of the cycle
    int other_half = -1000;
    // First the best rotation, then what speaks for others.
    for (int pass = 0; pass < 2; ++pass) {
        for (int i = 0; i < edges_; ++i) {
            const double wanted = place_deg_[static_cast<std::size_t>(i)] - turned_deg + bias_deg_;
            const double rotation = wrap(step_deg_ * std::round(wanted / step_deg_));
            if (std::fabs(distance(turned_deg + rotation - bias_deg_)) > tolerance_deg_) continue;
            const int points = score(rotation);
            if (pass == 0) {
                if (points > best) {
                    best = points;
                    best_deg = rotation;
                }
                continue;
            }
            const double apart = wrap(rotation - best_deg + 0.25 * step_deg_) - 0.25 * step_deg_;
            if (std::fabs(apart) < 0.5 * step_deg_) continue;
            if (cycle_deg_ > half_turn && std::fabs(apart - half_turn) < 0.5 * step_deg_)
                other_half = std::max(other_half, points);
            else
                best_elsewhere = std::max(best_elsewhere, points);
        }
    }
    if (best < 1) return Answer::nothing;
    if (cycle_deg_ > half_turn) other_half = std::max(other_half, score(wrap(best_deg + half_turn)));
    const bool tells_index = rotations_in_revolution_ == 1 || best - best_elsewhere >= kLead;
    const bool tells_half = cycle_deg_ > half_turn && halves_differ_ && best - other_half >= kLead;
    if (!tells_index || (rotations_in_revolution_ == 1 && !tells_half)) return Answer::nothing;
    return move(best_deg, tells_half);
}

inline CamPhase::Answer CamPhase::move(double rotation_deg, bool tells_half) noexcept {
    const double newest = turned_deg_[static_cast<std::size_t>(seen_ - 1)];
    const double in_revolution = rotation_deg - 360.0 * std::floor(rotation_deg / 360.0 + 1e-6);
    const bool index_same = in_revolution < 0.5 * step_deg_;
    const bool against = (index_known_ && !index_same) || (half_known_ && rotation_deg > 0.5 * step_deg_);
    if (against) {
        // Known better by many earlier edges: it takes two cycles in a row to say otherwise.
        if (contradictions_ == 0 || newest - contradicted_deg_ > 0.75 * cycle_deg_) {
            contradicted_deg_ = newest;
            if (++contradictions_ < kCyclesToContradict) return Answer::nothing;
        } else {
            return Answer::nothing;
        }
    }
    contradictions_ = 0;
    index_known_ = true;
    half_known_ = half_known_ || tells_half;
    rotation_deg_ = rotation_deg;
    for (int i = 0; i < seen_; ++i) turned_deg_[static_cast<std::size_t>(i)] += rotation_deg;
    begin_deg_ += rotation_deg;
    return Answer::rotation;
}

}  // namespace kurbel::decoding
