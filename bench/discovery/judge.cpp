#include "judge.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <limits>

namespace kurbel_discovery {

namespace {

using kurbel::discover::Discovery;
using kurbel::discover::Finding;
using kurbel::discover::Sureness;

constexpr double kTurn_deg = 360.0;

std::string format(const char* pattern, auto... values) {
    std::array<char, 400> text{};
    std::snprintf(text.data(), text.size(), pattern, values...);
    return text.data();
}

std::vector<double> true_angles(const kurbel::WheelConfig& wheel) {
    std::vector<double> deg;
    for (int i = 0; i < wheel.teeth; ++i)
        deg.push_back(static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(i)]));
    return deg;
}

/// How far the found place 0 lies behind the true one, and the largest error then.
struct Shift {
    double deg = 0.0;
    double worst_deg = std::numeric_limits<double>::infinity();
};

Shift best_shift(const std::vector<double>& found, const std::vector<double>& real) {
    Shift best;
    if (found.size() != real.size()) return best;
    for (std::size_t turn = 0; turn < real.size(); ++turn) {
        // Found tooth 0 is the true tooth `turn`; the mean distance is the shift.
        double mean = 0.0;
        std::vector<double> apart;
        for (std::size_t i = 0; i < real.size(); ++i) {
            const std::size_t at = (i + turn) % real.size();
            const double deg = real[at] + (i + turn >= real.size() ? kTurn_deg : 0.0);
            apart.push_back(deg - found[i]);
            mean += apart.back() / static_cast<double>(real.size());
        }
        double worst = 0.0;
        for (const double each : apart) worst = std::max(worst, std::abs(each - mean));
        if (worst < best.worst_deg) best = {mean, worst};
    }
    return best;
}

Answer graded(const Finding& finding, bool right) {
    if (finding.sureness == Sureness::not_sure) return Answer::not_sure;
    return right ? Answer::right : Answer::wrong;
}

/// How far the edges found on the second line stand from the drawn ones, at most, with the found place 0 `shift_deg` behind the true one; infinite
/// where they are not as many.
double cam_off_deg(const Drawn& drawn, const Discovery& found, double shift_deg) {
    const kurbel::CamConfig& cam = drawn.scenario.cam_wheel;
    double least = std::numeric_limits<double>::infinity();
    if (found.cam.tells_turn != drawn.reference) return least;
    if (static_cast<int>(found.cam.edge_deg.size()) != cam.edges) return least;
    for (const double half : {0.0, kTurn_deg}) {
        double worst = 0.0;
        for (int i = 0; i < cam.edges; ++i) {
            // From cylinder 1's firing TDC to the found place 0.
            const double deg =
                cam.edge_deg[static_cast<std::size_t>(i)] + drawn.scenario.crank_wheel.tdc1_deg - shift_deg + half;
            double nearest = std::numeric_limits<double>::infinity();
            for (const double each : found.cam.edge_deg)
                nearest = std::min(nearest, std::abs(std::remainder(each - deg, 2.0 * kTurn_deg)));
            worst = std::max(worst, nearest);
        }
        least = std::min(least, worst);
    }
    return least;
}

/// The drawn firings, turned so that they match best, within 3 degrees each.
bool firings_right(const Drawn& drawn, const Discovery& found) {
    const kurbel::EngineConfig& engine = drawn.scenario.engine;
    const auto& seen = found.engine.firing_tdc_deg;
    if (found.engine.cylinders != engine.cylinders || seen.size() != static_cast<std::size_t>(engine.cylinders))
        return false;
    for (int turn = 0; turn < engine.cylinders; ++turn) {
        double worst = 0.0;
        for (std::size_t i = 0; i < seen.size(); ++i) {
            const auto at = (i + static_cast<std::size_t>(turn)) % seen.size();
            const double deg = engine.firing_tdc_deg[at] - engine.firing_tdc_deg[static_cast<std::size_t>(turn)];
            worst = std::max(worst, std::abs(std::remainder(deg - seen[i], engine.cycle_deg())));
        }
        if (worst < 3.0) return true;
    }
    return false;
}

}  // namespace

const char* name(Drive drive) {
    constexpr std::array<const char*, 4> kNames{"idle", "hold", "cut", "coast"};
    return kNames[static_cast<std::size_t>(drive)];
}

bool Judgement::any_wrong() const { return std::find(answer.begin(), answer.end(), Answer::wrong) != answer.end(); }

void Counts::add(const Judgement& judgement) {
    ++seeds_;
    for (std::size_t i = 0; i < kQuestions; ++i)
        if (judgement.answer[i] != Answer::not_asked) ++count_[i][static_cast<std::size_t>(judgement.answer[i])];
}

void Counts::add(const Counts& other) {
    seeds_ += other.seeds_;
    for (std::size_t i = 0; i < kQuestions; ++i)
        for (std::size_t k = 0; k < 3; ++k) count_[i][k] += other.count_[i][k];
}

std::string Counts::row(const char* name) const {
    std::string text = format("| %s | %d |", name, seeds_);
    for (const auto& question : count_) text += format(" %d | %d | %d |", question[0], question[1], question[2]);
    return text;
}

int Counts::wrong() const {
    int sum = 0;
    for (const auto& question : count_) sum += question[static_cast<std::size_t>(Answer::wrong)];
    return sum;
}

Judgement judge(const Drawn& drawn, const kurbel::read::Recording& recording, bool tell_cuts) {
    kurbel::discover::EdgeLines lines{
        recording.tick.data(), recording.signal.data(), recording.tick.size(), recording.config.timer, {}};
    if (tell_cuts)
        for (const auto& cut : drawn.scenario.fuel_cuts) lines.fuel_cut_s.emplace_back(cut.from_s, cut.to_s);
    const Discovery found = kurbel::discover::discover(lines);
    Judgement judgement;
    const std::vector<double> real = true_angles(drawn.scenario.crank_wheel);
    const Shift shift = best_shift(found.wheel.angle_deg, real);
    const bool uneven = drawn.scenario.crank_wheel.positions == 0;
    // Vanes that were drawn as near to whole places as stamped teeth stand (three times 0.2 degrees, from memory) are no other wheel.
    constexpr double kStamped_deg = 0.6;
    const bool alike = uneven && shift.worst_deg < kStamped_deg;
    const bool wheel_right = shift.worst_deg < (uneven ? 3.0 : 1e-3) &&
                             (alike || found.wheel.positions == drawn.scenario.crank_wheel.positions);
    judgement.answer[0] = graded(found.wheel, wheel_right);
    judgement.text =
        format("%s (%s %.3f, %.0f turns, %.0f %% whole, worst %.2f deg), %.0f-%.0f rpm", found.wheel.name().c_str(),
               kurbel::discover::name(found.wheel.sureness), found.wheel.confidence, found.wheel.turns,
               100.0 * found.wheel.whole_share, shift.worst_deg, found.lowest_rpm, found.highest_rpm);
    if (!wheel_right) return judgement;
    // A plain ring has no place 0 of its own, and 120-2x2 has two: the second line's place is right by definition.
    const bool plain = real.size() == static_cast<std::size_t>(drawn.scenario.crank_wheel.positions);
    const double turned_deg = shift.deg;
    const bool twice = drawn.scenario.crank_wheel.positions == 120;
    double shift_deg = shift.deg;
    if (drawn.scenario.cam_wheel.edges > 0) {
        double off_deg = cam_off_deg(drawn, found, shift_deg);
        const auto try_shift = [&](double deg) {
            const double off = cam_off_deg(drawn, found, deg);
            if (off >= off_deg) return;
            off_deg = off;
            shift_deg = deg;
        };
        const double pitch = kTurn_deg / static_cast<double>(real.size());
        for (std::size_t turn = 0; plain && turn < real.size(); ++turn) try_shift(pitch * static_cast<double>(turn));
        if (twice) try_shift(turned_deg + 0.5 * kTurn_deg);
        const bool right = off_deg < (uneven ? 6.0 : 3.0);
        judgement.answer[1] = graded(found.cam, right);
        judgement.text += format("; second line %s (%zu edges, %s)", kurbel::discover::name(found.cam.sureness),
                                 found.cam.edge_deg.size(), right ? "right" : "not right");
    }
    judgement.answer[2] = graded(found.engine, firings_right(drawn, found));
    judgement.text +=
        format("; %d cylinders, %s (%s %.3f) of %d", found.engine.cylinders, found.engine.layout.c_str(),
               kurbel::discover::name(found.engine.sureness), found.engine.confidence, drawn.scenario.engine.cylinders);
    if (drawn.drive == Drive::cut || drawn.drive == Drive::coast) {
        double nearest = std::numeric_limits<double>::infinity();
        for (int i = 0; i < drawn.scenario.engine.cylinders; ++i) {
            const double real_deg = drawn.scenario.crank_wheel.tdc1_deg - shift_deg +
                                    drawn.scenario.engine.firing_tdc_deg[static_cast<std::size_t>(i)];
            // Which of two revolutions is called the first is free.
            for (const double half : {0.0, kTurn_deg}) {
                const double off = std::remainder(found.tdc.deg + half - real_deg, found.tdc.period_deg);
                if (std::abs(off) < std::abs(nearest)) nearest = off;
            }
        }
        judgement.answer[3] = graded(found.tdc, std::abs(nearest) <= 10.0);
        judgement.text +=
            format("; TDC off by %.1f, range %.1f (%s %.3f)", nearest, found.tdc.high_deg - found.tdc.low_deg,
                   kurbel::discover::name(found.tdc.sureness), found.tdc.confidence);
    }
    return judgement;
}

}  // namespace kurbel_discovery
