#include "simulate/cylinder_run.hpp"

#include <cmath>

#include "simulate/rounding.hpp"

namespace kurbel::simulate {

namespace {

constexpr double kHalfTurn = portable::kPi;
constexpr double kNoTime = -1e9;
constexpr double kRestRadPerS = 3.0;  // an engine slower than this stands
constexpr double kRestS = 0.5;        // time constant of the pressure of its closed cylinders; value from memory

}  // namespace

void CylinderRuns::start(double time_s, const Surroundings& around) {
    const bool at_rest = scenario_.operation.mode == Operation::cranking;  // a start's cylinders: see below
    for (std::size_t c = 0; c < static_cast<std::size_t>(model_.cylinders()); ++c) {
        const double x = model_.cylinder_rad(c);
        trap(c, time_s, time_s, around);  // a cylinder may stand between its bottoms when the run begins
        if (at_rest) model_.charge[c].trapped_pa *= 0.5;  // gas has leaked past the rings since the engine stopped
        if (scenario_.operation.mode == Operation::start) {
            model_.charge[c].heat_j = 0.0;
            const double pressure = model_.cylinder().pressure_pa(x, 0.0, around.manifold_pa, model_.charge[c]);
            model_.charge[c].trapped_pa *= model_.cylinder().ambient_pa() / pressure;
        }
        place_[c].row.time_s = kNoTime;
        place_[c].next = x < -kHalfTurn  ? Next::trap
                         : x < 0.0       ? Next::firing_tdc
                         : x < kHalfTurn ? Next::bottom
                                         : Next::gas_exchange_tdc;
    }
}

void CylinderRuns::before_step() noexcept {
    for (std::size_t c = 0; c < static_cast<std::size_t>(model_.cylinders()); ++c) {
        place_[c].angle_rad = model_.cylinder_rad(c);
        place_[c].speed_rad_s = throw_rad_s(c);
    }
}

void CylinderRuns::after_step(double time_s, double step_s, const Surroundings& around) {
    for (std::size_t c = 0; c < static_cast<std::size_t>(model_.cylinders()); ++c) watch(c, time_s, step_s, around);
}

void CylinderRuns::watch(std::size_t c, double time_s, double step_s, const Surroundings& around) {
    Place& place = place_[c];
    const double x = model_.cylinder_rad(c);
    if (x < place.angle_rad) {
        turn_back(c, x);
        return;
    }
    const bool two_stroke = model_.cylinder().cycle_rad() < 3.0 * kHalfTurn;
    const auto closing_s = [&](double angle_rad) {
        const double turned = x - place.angle_rad;
        return time_s + (turned > 0.0 ? step_s * (angle_rad - place.angle_rad) / turned : step_s);
    };
    if (place.next == Next::trap && x >= -kHalfTurn) {
        trap(c, time_s + step_s, closing_s(-kHalfTurn), around);
        place.next = Next::firing_tdc;
    } else if (place.next == Next::firing_tdc && x >= 0.0) {
        pass_firing_tdc(c, time_s, step_s, around);
        place.next = Next::bottom;
    } else if (place.next == Next::bottom && x >= kHalfTurn) {
        close_row(c);
        place.next = Next::gas_exchange_tdc;
        if (two_stroke) {
            model_.firing_tdc_rad[c] += model_.cylinder().cycle_rad();
            trap(c, time_s + step_s, closing_s(kHalfTurn), around);
            place.next = Next::firing_tdc;
        }
    } else if (place.next == Next::gas_exchange_tdc && x >= 2.0 * kHalfTurn) {
        model_.firing_tdc_rad[c] += model_.cylinder().cycle_rad();
        place.next = Next::trap;
    }
    // Not up to the very bottoms, where a time step's last look may already be the next cycle's.
    const bool closed =
        (place.next == Next::bottom && x < 0.9 * kHalfTurn) || (place.next == Next::firing_tdc && x > -0.5 * kHalfTurn);
    model_.charge[c].reached_rad = closed ? model_.cylinder_rad(c) : -1e9;
}

void CylinderRuns::close_row(std::size_t c) {
    Place& place = place_[c];
    place.row.work_j = rounded(model_.work_j[c], 1e2);
    if (place.row.time_s >= 0.0 && place.row.time_s < scenario_.seconds) {
        truth.push_back(place.row);
        const Firing& f = place.firing;
        detail.push_back({place.row.time_s, place.row.cylinder, 1e-5 * place.trapped_pa, f.burnt_gas, f.heat_j, f.burnt,
                          f.ca50_deg});
    }
    place.row.time_s = kNoTime;
}

/// An engine that stops swings back on its compression: the same dead centres the other way round. What is burnt stays burnt,
/// a cylinder that opens its intake again traps a new charge later.
void CylinderRuns::turn_back(std::size_t c, double x) noexcept {
    Place& place = place_[c];
    const bool two_stroke = model_.cylinder().cycle_rad() < 3.0 * kHalfTurn;
    if (place.next == Next::bottom && x < 0.0) {
        place.next = Next::firing_tdc;
    } else if (place.next == Next::firing_tdc && x < -kHalfTurn) {
        place.next = two_stroke ? Next::bottom : Next::trap;
        place.row.time_s = kNoTime;
        if (two_stroke) model_.firing_tdc_rad[c] -= model_.cylinder().cycle_rad();
    } else if (place.next == Next::gas_exchange_tdc && x < kHalfTurn) {
        place.next = Next::bottom;
        place.row.time_s = kNoTime;  // its row is written already
    } else if (place.next == Next::trap && x < -2.0 * kHalfTurn) {
        model_.firing_tdc_rad[c] -= model_.cylinder().cycle_rad();
        place.next = Next::gas_exchange_tdc;
    }
}

void CylinderRuns::leak_at_rest(double step_s) noexcept {
    if (scenario_.operation.mode != Operation::start) return;
    for (std::size_t c = 0; c < static_cast<std::size_t>(model_.cylinders()); ++c) {
        const double speed = throw_rad_s(c);
        if (speed > kRestRadPerS || speed < -kRestRadPerS) continue;
        if (place_[c].next != Next::firing_tdc && place_[c].next != Next::bottom) continue;
        Charge& charge = model_.charge[c];
        const double share = step_s / kRestS;
        const double pressure =
            model_.cylinder().pressure_pa(model_.cylinder_rad(c), speed, model_.manifold_pa, charge);
        charge.heat_j *= 1.0 - share;
        charge.trapped_pa *= 1.0 + share * (model_.cylinder().ambient_pa() / pressure - 1.0);
    }
}

void CylinderRuns::pass_firing_tdc(std::size_t c, double time_s, double step_s, const Surroundings& around) {
    // Cubic through both ends would be finer than truth needs; the straight line with the mean speed is within 1 ns.
    Place& place = place_[c];
    const double x = model_.cylinder_rad(c);
    const double speed = throw_rad_s(c);
    const double share = place.angle_rad / (place.angle_rad - x);
    const double bend = 0.5 * share * (1.0 - share) * (speed - place.speed_rad_s) * step_s / (x - place.angle_rad);
    place.row.time_s = time_s + (share + bend) * step_s;
    const double pressure = model_.cylinder().pressure_pa(0.0, speed, around.manifold_pa, model_.charge[c]);
    place.row.tdc_bar = rounded(1e-5 * (pressure - model_.cylinder().ambient_pa()), 1e3);
}

void CylinderRuns::trap(std::size_t c, double time_s, double closing_s, const Surroundings& around) {
    Firing& firing = place_[c].firing;
    firing = firing_.trap(c, time_s, closing_s, throw_rad_s(c), around, model_.charge[c]);
    place_[c].trapped_pa = model_.charge[c].trapped_pa;
    model_.work_j[c] = 0.0;
    read::TruthRow& row = place_[c].row;
    row = {};
    row.time_s = kNoTime;
    row.cylinder = static_cast<std::int32_t>(c) + 1;
    row.severity = firing.fuel_cut ? 0.0 : firing.severity;
    row.fuel_cut = firing.fuel_cut;
}

bool CylinderRuns::at_work(double end_s) const noexcept {
    for (std::size_t c = 0; c < static_cast<std::size_t>(model_.cylinders()); ++c)
        if (place_[c].next == Next::bottom && place_[c].row.time_s >= 0.0 && place_[c].row.time_s < end_s) return true;
    return false;
}

}  // namespace kurbel::simulate
