// What makes the description of the engine doubtful.
#include "command/outcome.hpp"
#include "command/text.hpp"

namespace kurbel::command {

namespace {

/// A cam that is there and described, and yet told nothing.
bool cam_contradicted(const Outcome& outcome) {
    constexpr std::int64_t kEnough = 10;  // edges: a few may be noise, or come before the wheel was found
    const bool told = outcome.sync.phase == Phase::cam || outcome.sync.phase == Phase::not_needed;
    return !told && outcome.config.cam_wheel.edges > 0 && outcome.cam_edges >= kEnough;
}

std::string cam_warning(const Outcome& outcome) {
    return "its " + counted(outcome.cam_edges, "cam edge") +
           " do not stand where [cam_wheel] says, and told nothing. Check edges_deg, and tdc1_deg, which they are "
           "counted with: where that is wrong, so are the verdicts.";
}

/// A described tooth that never comes is a gap, whose place tells the wheel's position.
std::string gap_warning(const Outcome& outcome) {
    const WheelConfig& wheel = outcome.config.crank_wheel;
    std::vector<std::string> places;
    for (const int tooth : outcome.never_seen) {
        const auto angle_deg = static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(tooth)]);
        places.push_back(wheel.positions > 0 ? format("%.0f", angle_deg * wheel.positions / 360.0)
                                             : format("%.6g degrees", angle_deg));
    }
    return "the wheel has no tooth at place " + text::listed(places) +
           " in nearly every revolution, though [crank_wheel] says so. Where it is a gap, absent = [" +
           (places.size() == 1 ? places.front() : "...") + "] tells it; where a tooth broke off, the verdicts hold.";
}

/// Geometry, inertia and load make each firing swing the crank by so much, and it swings by many times as much or as little.
std::string size_warning(double work_over_told) {
    const bool more = work_over_told > 1.0;
    return "each firing swings the crank by " + format("%.2g", more ? work_over_told : 1.0 / work_over_told) +
           (more ? " times as much as " : " times less than ") +
           "inertia_kg_m2, bore_mm, stroke_mm and the load channel say. They were not used for the verdicts, and no "
           "work is told in joules. "
           "Check their units (kg m^2, mm; load 0 to 1), and the number of cylinders.";
}

std::string wheel_warning(const WheelUse& wheel) {
    return wheel.file + " is of another wheel: with it, teeth still stand " + format("%.3f", wheel.fit.rms_left_deg) +
           " degrees (root mean square) from where it says. Verdicts lean on it: learn this engine's own wheel with "
           "kurbel learn-wheel, or leave out --wheel.";
}

}  // namespace

std::vector<std::string> warnings(const Outcome& outcome) {
    std::vector<std::string> all = outcome.notes;
    if (outcome.tdc_offset.beyond()) all.push_back(tdc_warning(outcome.config, outcome.tdc_offset));
    if (outcome.work_over_told != 1.0) all.push_back(size_warning(outcome.work_over_told));
    if (cam_contradicted(outcome)) all.push_back(cam_warning(outcome));
    if (!outcome.never_seen.empty()) all.push_back(gap_warning(outcome));
    if (outcome.wheel && same_wheel(outcome.wheel->fit) == SameWheel::other)
        all.push_back(wheel_warning(*outcome.wheel));
    return all;
}

}  // namespace kurbel::command
