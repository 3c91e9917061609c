#include "study/cranked_model.hpp"

#include <algorithm>
#include <array>
#include <numbers>

namespace kurbel::cranking {

namespace {

constexpr double kExponent = 1.3;
constexpr int kSteps = 720;  ///< of the integrals, a cycle
/// Inertia where none is told: 0.075 kg m^2 per litre (as in ExpectedWork); only ratios are given out then.
constexpr double kInertiaPerVolume = 75.0;
constexpr double kReferenceSpeed = 20.0;  ///< rad/s, for numbers near 1
constexpr double kBendShare = 0.4;        ///< of the time the crank is slower

double square(double x) { return x * x; }

}  // namespace

CrankedModel::CrankedModel(const Config& config, const std::vector<CrankedCycle>& cycles, double half_deg)
    : config_(config),
      cycles_(cycles),
      half_deg_(half_deg),
      cycle_deg_(config.engine.cycle_deg()),
      step_rad_(to_rad(cycle_deg_ / kSteps)),
      tables_(SliderCrank::of(config.engine)),
      columns_{config.engine.cylinders, config.crank_wheel.teeth} {
    const EngineConfig& engine = config.engine;
    sized_ = engine.bore_mm > 0.0 && engine.stroke_mm > 0.0 && engine.inertia_kg_m2 > 0.0;
    const double displaced = 0.25e-9 * std::numbers::pi * square(engine.bore_mm) * engine.stroke_mm;
    // Piston area times crank radius over inertia: rad^2/s^2 per bar and radian.
    torque_ = sized_ ? 0.5e5 * displaced / engine.inertia_kg_m2 : 0.5e5 / (kInertiaPerVolume * engine.cylinders);
    piston_square_.assign(kSteps + 1, 0.0);
    const SliderCrank crank = SliderCrank::of(engine);
    for (int s = 0; s <= kSteps; ++s)
        for (int k = 0; k < engine.cylinders; ++k)
            piston_square_[static_cast<std::size_t>(s)] += square(crank.lever(
                to_rad(s * cycle_deg_ / kSteps - half_deg_ - engine.firing_tdc_deg[static_cast<std::size_t>(k)])));
    for (const CrankedCycle& cycle : cycles_) {
        speeds_.push_back(speed_at_steps(cycle));
        sorted_speeds_.insert(sorted_speeds_.end(), speeds_.back().begin(), speeds_.back().end());
    }
    std::sort(sorted_speeds_.begin(), sorted_speeds_.end());
    bend_ = speed_passed(kBendShare);
}

double CrankedModel::speed_passed(double share) const {
    return sorted_speeds_[static_cast<std::size_t>(share * static_cast<double>(sorted_speeds_.size() - 1))];
}

/// Speed at the middle of each step, straight between the middles of the tooth intervals.
std::vector<double> CrankedModel::speed_at_steps(const CrankedCycle& cycle) const {
    std::vector<double> speed(kSteps);
    std::size_t i = 0;
    const auto middle = [&](std::size_t n) { return cycle.interval[n].begin_deg + 0.5 * cycle.interval[n].width_deg; };
    for (int s = 0; s < kSteps; ++s) {
        const double at = (s + 0.5) * cycle_deg_ / kSteps;
        while (i + 2 < cycle.interval.size() && middle(i + 1) < at) ++i;
        const double share = std::clamp((at - middle(i)) / (middle(i + 1) - middle(i)), 0.0, 1.0);
        speed[static_cast<std::size_t>(s)] =
            std::max(1.0, cycle.interval[i].speed + share * (cycle.interval[i + 1].speed - cycle.interval[i].speed));
    }
    return speed;
}

/// What has leaked (X) at each step of a cylinder, begun anew at every intake closing.
std::vector<double> CrankedModel::exposures(std::size_t c, double tdc_deg, double& at_tdc) const {
    std::vector<double> exposure(kSteps, 0.0);
    const std::vector<double>& speed = speeds_[c];
    double sum = 0.0;
    at_tdc = 0.0;
    // Twice around, so that a compression which the cycle's beginning cuts starts at its own beginning.
    for (int s = -kSteps; s < kSteps; ++s) {
        const double place = table_place((s + 0.5) * cycle_deg_ / kSteps - tdc_deg, cycle_deg_);
        if (place < (kClosed_deg + 180.0) * GasTables::kPerDeg) {
            sum = 0.0;
            continue;
        }
        const double pressure = std::exp(kExponent * between(tables_.ratio_log, place));
        const std::size_t step = static_cast<std::size_t>((s + kSteps) % kSteps);
        sum += between(tables_.inverse, place) * flow_share(pressure) * step_rad_ / speed[step];
        if (s >= 0) {
            exposure[static_cast<std::size_t>(s)] = sum;
            if (place <= 180 * GasTables::kPerDeg) at_tdc = std::max(at_tdc, sum);
        }
    }
    return exposure;
}

/// Running integrals over the steps of one cycle, at its present values.
Eigen::MatrixXd CrankedModel::integrals(std::size_t c, const Values& values, Eigen::VectorXd& exposure_at_tdc) const {
    const Eigen::VectorXd& value = values.shared;
    const int z = columns_.cylinders;
    const int shared = columns_.tooth(0);
    Eigen::MatrixXd sums = Eigen::MatrixXd::Zero(kSteps + 1, shared + 1);  // last: ambient
    exposure_at_tdc.resize(z);
    const double n = value[columns_.exponent()];
    for (int k = 0; k < z; ++k) {
        const double tdc_deg =
            config_.engine.firing_tdc_deg[static_cast<std::size_t>(k)] + half_deg_ + value[columns_.tdc()];
        const std::vector<double> exposure = exposures(c, tdc_deg, exposure_at_tdc[k]);
        const double trapped = value[columns_.trapped(k)];
        const double leak = value[columns_.leak(k)];
        double first_torque = 0.0;
        double by_trapped = 0.0;
        double by_leak = 0.0;
        double by_exponent = 0.0;
        double ambient = 0.0;
        for (int s = 0; s < kSteps; ++s) {
            const double place = table_place((s + 0.5) * cycle_deg_ / kSteps - tdc_deg, cycle_deg_);
            double torque = 0.0;
            if (place >= 0.0) {
                const double x = exposure[static_cast<std::size_t>(s)];
                const double arm = torque_ * between(tables_.lever, place);
                const double ratio_log = between(tables_.ratio_log, place);
                const double unit = arm * std::exp(n * ratio_log - leak * x);
                by_trapped += unit * step_rad_;
                by_leak -= trapped * unit * x * step_rad_;
                by_exponent += trapped * unit * ratio_log * step_rad_;
                ambient -= arm * step_rad_;
                torque = trapped * unit - values.ambient_bar * arm;
            }
            if (s == 0) first_torque = torque;
            sums(s + 1, columns_.trapped(k)) = by_trapped;
            sums(s + 1, columns_.leak(k)) = by_leak;
            sums(s + 1, columns_.exponent()) += by_exponent;
            sums(s + 1, columns_.tdc()) -= (torque - first_torque) * to_rad(1.0);
            sums(s + 1, shared) += ambient;
        }
    }
    const double knee = value[columns_.knee()];
    double beyond = 0.0;
    for (int s = 0; s < kSteps; ++s) {
        const double speed = speeds_[c][static_cast<std::size_t>(s)];
        sums(s + 1, columns_.speed()) = sums(s, columns_.speed()) + speed / kReferenceSpeed * step_rad_;
        const double bent = std::max(speed - bend_, 0.0) / kReferenceSpeed;
        const double above = std::max(speed - knee, 0.0) / kReferenceSpeed;
        sums(s + 1, columns_.bend()) = sums(s, columns_.bend()) + bent * step_rad_;
        sums(s + 1, columns_.at_knee()) = sums(s, columns_.at_knee()) + above * step_rad_;
        sums(s + 1, columns_.armature()) = -0.5 * square(std::min(speed, knee));
        const bool free = speed > knee;
        beyond += free ? step_rad_ / kReferenceSpeed : 0.0;
        sums(s + 1, columns_.knee()) =
            -value[columns_.at_knee()] * beyond - (free ? value[columns_.armature()] * knee : 0.0);
    }
    for (const int i : {columns_.armature(), columns_.knee()}) sums(0, i) = sums(1, i);
    return sums;
}

CycleModel CrankedModel::at(std::size_t c, const Values& values) const {
    const Eigen::VectorXd& value = values.shared;
    const CrankedCycle& cycle = cycles_[c];
    const auto rows = static_cast<Eigen::Index>(cycle.interval.size());
    Eigen::VectorXd exposure;
    const Eigen::MatrixXd sums = integrals(c, values, exposure);
    const int shared = columns_.tooth(0);
    // Energy along the cycle: what is linear in its parameter by the parameter, the rest is in those columns already.
    Eigen::VectorXd energy = sums.col(shared) * values.ambient_bar;
    for (int k = 0; k < columns_.cylinders; ++k) energy += sums.col(columns_.trapped(k)) * value[columns_.trapped(k)];
    for (int i = columns_.speed(); i < columns_.knee(); ++i) energy += sums.col(i) * value[i];
    for (int s = 0; s <= kSteps; ++s) energy[s] += values.local[c][0] + values.local[c][1] * s * step_rad_;
    CycleModel m{Eigen::MatrixXd::Zero(rows, columns_.count()),
                 Eigen::MatrixXd(rows, 2),
                 Eigen::VectorXd(rows),
                 Eigen::VectorXd(rows),
                 Eigen::VectorXd(rows),
                 exposure};
    double mean = 0.0;
    for (const CrankedInterval& interval : cycle.interval) mean += interval.energy / static_cast<double>(rows);
    for (Eigen::Index r = 0; r < rows; ++r) {
        const CrankedInterval& interval = cycle.interval[static_cast<std::size_t>(r)];
        // The teeth show the mean of slowness, not of energy: 1 / (mean of energy^-1/2)^2, and its derivative.
        constexpr int kParts = 6;
        std::array<double, kParts> weight{};
        std::array<double, kParts> inertia{};
        std::array<double, kParts> squares{};
        std::array<double, kParts> level{};
        std::array<double, kParts> at{};
        double slowness = 0.0;
        for (int p = 0; p < kParts; ++p) {
            const auto n = static_cast<std::size_t>(p);
            at[n] = (interval.begin_deg + (p + 0.5) * interval.width_deg / kParts) * kSteps / cycle_deg_;
            const int s = std::clamp(static_cast<int>(at[n]), 0, kSteps - 1);
            const double share = at[n] - s;
            const auto step = static_cast<std::size_t>(s);
            squares[n] = (1.0 - share) * piston_square_[step] + share * piston_square_[step + 1];
            inertia[n] = 1.0 + value[columns_.pistons()] * squares[n];
            const double here = std::max(((1.0 - share) * energy[s] + share * energy[s + 1]) / inertia[n], 0.05 * mean);
            level[n] = here;
            slowness += 1.0 / std::sqrt(here) / kParts;
            weight[n] = 1.0 / (here * std::sqrt(here)) / kParts;
        }
        double fitted = 1.0 / square(slowness);
        m.local.row(r).setZero();
        for (int p = 0; p < kParts; ++p) {
            const auto n = static_cast<std::size_t>(p);
            const double part = weight[n] * fitted / slowness / inertia[n];
            m.global(r, columns_.pistons()) -= part * level[n] * squares[n];
            const int s = std::clamp(static_cast<int>(at[n]), 0, kSteps - 1);
            const double share = at[n] - s;
            m.global.row(r).head(columns_.pistons()) += part * ((1.0 - share) * sums.row(s).head(columns_.pistons()) +
                                                                share * sums.row(s + 1).head(columns_.pistons()));
            m.local(r, 0) += part;
            m.local(r, 1) += part * at[n] * step_rad_;
        }
        const double width = to_rad(interval.width_deg);
        const double bend = 2.0 * interval.energy / width;
        m.global(r, columns_.tooth(interval.from)) += bend;
        m.global(r, columns_.tooth(interval.to)) -= bend;
        fitted += bend * (value[columns_.tooth(interval.from)] - value[columns_.tooth(interval.to)]);
        m.fitted[r] = fitted;
        m.residual[r] = interval.energy - fitted;
        m.deviation[r] = interval.energy + 0.3 * mean;
    }
    return m;
}

}  // namespace kurbel::cranking
