#include "study/compression_fit.hpp"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "kurbel/core/slider_crank.hpp"

namespace kurbel {

namespace {

constexpr double kAmbient_bar = 1.013;
constexpr double kExponent = 1.3;
constexpr double kExponentDoubt = 0.05;
constexpr double kTdcDoubt_deg = 1.5;
constexpr double kToothDoubt_deg = 0.15;
/// Valves: closed from 140 before to 125 after TDC, open at the bottoms (ordinary timing, from memory). Torque there is small.
constexpr double kClosed_deg = -140.0;
constexpr double kOpens_deg = 125.0;
constexpr int kSteps = 720;  ///< of the integrals, a cycle
constexpr int kRounds = 15;
constexpr int kLooks = 2;
constexpr std::size_t kFarthestLike = 40;  ///< intervals
/// Inertia where none is told: 0.075 kg m^2 per litre (as in ExpectedWork); only ratios are given out then.
constexpr double kInertiaPerVolume = 75.0;
constexpr double kReferenceSpeed = 20.0;  ///< rad/s, for numbers near 1
/// A starter's freewheel lets go above some speed (the knee), and its armature with it: about a tenth of the engine's inertia
/// (from memory). Below, a motor's torque may bend once more.
constexpr double kArmature = 0.1;
constexpr double kArmatureDoubt = 0.08;
constexpr double kBendShare = 0.4;  ///< of the time the crank is slower
constexpr double kKneeShares[] = {0.5, 0.7, 0.85, 0.97};

double square(double x) { return x * x; }

double smooth(double x) {
    const double t = std::clamp(x, 0.0, 1.0);
    return t * t * (3.0 - 2.0 * t);
}

/// What the gas of one cylinder does at one angle, per unit of what is fitted.
struct GasTables {
    static constexpr int kPerDeg = 4;
    static constexpr int kSize = 360 * kPerDeg + 1;
    std::array<double, kSize> ratio_log{};  ///< log of bottom volume over volume
    std::array<double, kSize> inverse{};    ///< clearance over volume
    std::array<double, kSize> lever{};      ///< times the share by which the valves are shut
    double bottom = 10.0;                   ///< bottom over clearance volume

    explicit GasTables(const SliderCrank& crank) {
        bottom = crank.volume(std::numbers::pi);
        for (int i = 0; i < kSize; ++i) {
            const double deg = -180.0 + static_cast<double>(i) / kPerDeg;
            const double volume = crank.volume(to_rad(deg));
            const auto at = static_cast<std::size_t>(i);
            ratio_log[at] = std::log(bottom / volume);
            inverse[at] = 1.0 / volume;
            const double shut = deg < kClosed_deg  ? smooth((deg + 180.0) / (kClosed_deg + 180.0))
                                : deg > kOpens_deg ? smooth((180.0 - deg) / (180.0 - kOpens_deg))
                                                   : 1.0;
            lever[at] = shut * crank.lever(to_rad(deg));
        }
    }
};

/// Flow through a small hole towards ambient over the choked flow, by ratio of pressures (gamma 1.4).
double flow_share(double pressure_over_ambient) {
    constexpr double kGamma = 1.4;
    if (pressure_over_ambient >= 1.893) return 1.0;
    if (pressure_over_ambient <= 1.0) return 0.0;
    const double r = 1.0 / pressure_over_ambient;
    return std::sqrt(std::pow(r, 2.0 / kGamma) - std::pow(r, (kGamma + 1.0) / kGamma)) / 0.2588;
}

/// Place of a crank angle within +-180 degrees of a cylinder's firing TDC in the tables; negative elsewhere.
double table_place(double deg, double cycle_deg) {
    const double x = std::remainder(deg, cycle_deg);
    if (x <= -180.0 || x >= 180.0) return -1.0;
    return (x + 180.0) * GasTables::kPerDeg;
}

double between(const std::array<double, GasTables::kSize>& table, double place) {
    const auto at = std::min(static_cast<std::size_t>(place), static_cast<std::size_t>(GasTables::kSize - 2));
    const double share = place - static_cast<double>(at);
    return (1.0 - share) * table[at] + share * table[at + 1];
}

/// Columns of what is fitted to all cycles together.
struct Columns {
    int cylinders;
    int teeth;
    [[nodiscard]] int trapped(int k) const { return k; }
    [[nodiscard]] int leak(int k) const { return cylinders + k; }
    [[nodiscard]] int exponent() const { return 2 * cylinders; }
    [[nodiscard]] int tdc() const { return 2 * cylinders + 1; }
    /// Torque that depends on speed alone: straight, bent once, and bent at the knee.
    [[nodiscard]] int speed() const { return 2 * cylinders + 2; }
    [[nodiscard]] int bend() const { return 2 * cylinders + 3; }
    [[nodiscard]] int at_knee() const { return 2 * cylinders + 4; }
    /// Inertia that is there below the knee.
    [[nodiscard]] int armature() const { return 2 * cylinders + 5; }
    [[nodiscard]] int knee() const { return 2 * cylinders + 6; }
    /// Piston mass times squared crank radius over rotating inertia.
    [[nodiscard]] int pistons() const { return 2 * cylinders + 7; }
    [[nodiscard]] int tooth(int i) const { return 2 * cylinders + 8 + i; }
    [[nodiscard]] int count() const { return tooth(teeth); }
};

class Fitter {
  public:
    Fitter(const Config& config, const std::vector<CrankedCycle>& cycles, double half_deg)
        : config_(config),
          cycles_(cycles),
          half_deg_(half_deg),
          cycle_deg_(config.engine.cycle_deg()),
          step_rad_(to_rad(cycle_deg_ / kSteps)),
          tables_(SliderCrank::of(config.engine)),
          columns_{config.engine.cylinders, config.crank_wheel.teeth} {
        const EngineConfig& engine = config.engine;
        const bool sized = engine.bore_mm > 0.0 && engine.stroke_mm > 0.0 && engine.inertia_kg_m2 > 0.0;
        const double displaced = 0.25e-9 * std::numbers::pi * square(engine.bore_mm) * engine.stroke_mm;
        sized_ = sized;
        // Piston area times crank radius over inertia: rad^2/s^2 per bar and radian.
        torque_ = sized ? 0.5e5 * displaced / engine.inertia_kg_m2 : 0.5e5 / (kInertiaPerVolume * engine.cylinders);
        begin_values();
        piston_square_.assign(kSteps + 1, 0.0);
        const SliderCrank crank = SliderCrank::of(engine);
        for (int s = 0; s <= kSteps; ++s)
            for (int k = 0; k < engine.cylinders; ++k)
                piston_square_[static_cast<std::size_t>(s)] += square(crank.lever(
                    to_rad(s * cycle_deg_ / kSteps - half_deg_ - engine.firing_tdc_deg[static_cast<std::size_t>(k)])));
        for (const CrankedCycle& cycle : cycles_) speeds_.push_back(speed_at_steps(cycle));
        std::vector<double> all;
        for (const std::vector<double>& cycle : speeds_) all.insert(all.end(), cycle.begin(), cycle.end());
        std::sort(all.begin(), all.end());
        const auto slower = [&](double share) {
            return all[static_cast<std::size_t>(share * static_cast<double>(all.size() - 1))];
        };
        bend_ = slower(kBendShare);
        for (const double share : kKneeShares) knees_.push_back(slower(share));
        value_[columns_.knee()] = knees_[1];
        // Anywhere between dead slow and never reached.
        prior_[columns_.knee()] = 1.0 / square(0.3 * knees_[1]);
        centre_ = value_;
        left_out_.assign(cycles_.size(), false);
        local_.assign(cycles_.size(), Eigen::Vector2d::Zero());
        for (std::size_t c = 0; c < cycles_.size(); ++c) local_[c][0] = cycles_[c].interval.front().energy;
    }

    CompressionFit run() {
        // From far away doubtful: what is known beforehand must not be given up to explain what is only not fitted yet. Then with
        // the scatter, and the likeness of neighbours, as it was seen.
        variance_ = square(0.5);
        descend();
        variance_ = square(0.1);
        find_knee();
        variance_ = square(0.02);
        descend();
        for (int look = 0; look < kLooks; ++look) {
            see_scatter();
            leave_out_strangers();
            descend();
        }
        return result();
    }

  private:
    struct CycleModel {
        Eigen::MatrixXd global;  ///< intervals x columns
        Eigen::MatrixXd local;   ///< intervals x 2: level, steady torque
        Eigen::VectorXd residual;
        Eigen::VectorXd deviation;  ///< standard deviation of each, before scatter is known
        Eigen::VectorXd fitted;
    };

    void begin_values() {
        const int z = columns_.cylinders;
        value_ = Eigen::VectorXd::Zero(columns_.count());
        prior_ = Eigen::VectorXd::Zero(columns_.count());
        for (int k = 0; k < z; ++k) {
            value_[columns_.trapped(k)] = 0.95;
            prior_[columns_.trapped(k)] = sized_ ? 1.0 / square(0.5) : 1e-4;
            prior_[columns_.leak(k)] = 1.0 / square(40.0);
        }
        value_[columns_.exponent()] = kExponent;
        prior_[columns_.exponent()] = 1.0 / square(kExponentDoubt);
        // All pistons together have up to 4 % of the inertia (common practice, no source); told masses within a tenth.
        const EngineConfig& engine = config_.engine;
        const double told = 0.25e-6 * engine.reciprocating_kg * square(engine.stroke_mm) / engine.inertia_kg_m2;
        value_[columns_.pistons()] = told > 0.0 ? told : 0.03 / z;
        prior_[columns_.pistons()] = 1.0 / square(told > 0.0 ? 0.1 * told : 0.015 / z);
        value_[columns_.armature()] = kArmature;
        prior_[columns_.armature()] = 1.0 / square(kArmatureDoubt);
        prior_[columns_.tdc()] = 1.0 / square(kTdcDoubt_deg);
        for (int i = 0; i < columns_.teeth; ++i) prior_[columns_.tooth(i)] = 1.0 / square(to_rad(kToothDoubt_deg));
        centre_ = value_;
    }

    /// Speed at the middle of each step, straight between the middles of the tooth intervals.
    [[nodiscard]] std::vector<double> speed_at_steps(const CrankedCycle& cycle) const {
        std::vector<double> speed(kSteps);
        std::size_t i = 0;
        const auto middle = [&](std::size_t n) {
            return cycle.interval[n].begin_deg + 0.5 * cycle.interval[n].width_deg;
        };
        for (int s = 0; s < kSteps; ++s) {
            const double at = (s + 0.5) * cycle_deg_ / kSteps;
            while (i + 2 < cycle.interval.size() && middle(i + 1) < at) ++i;
            const double share = std::clamp((at - middle(i)) / (middle(i + 1) - middle(i)), 0.0, 1.0);
            speed[static_cast<std::size_t>(s)] = std::max(
                1.0, cycle.interval[i].speed + share * (cycle.interval[i + 1].speed - cycle.interval[i].speed));
        }
        return speed;
    }

    /// What has leaked (X) at each step of a cylinder, begun anew at every intake closing.
    [[nodiscard]] std::vector<double> exposures(std::size_t c, double tdc_deg, double& at_tdc) const {
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
    [[nodiscard]] Eigen::MatrixXd integrals(std::size_t c, Eigen::VectorXd& exposure_at_tdc) const {
        const int z = columns_.cylinders;
        const int shared = columns_.tooth(0);
        Eigen::MatrixXd sums = Eigen::MatrixXd::Zero(kSteps + 1, shared + 1);  // last: ambient
        exposure_at_tdc.resize(z);
        const double n = value_[columns_.exponent()];
        for (int k = 0; k < z; ++k) {
            const double tdc_deg =
                config_.engine.firing_tdc_deg[static_cast<std::size_t>(k)] + half_deg_ + value_[columns_.tdc()];
            const std::vector<double> exposure = exposures(c, tdc_deg, exposure_at_tdc[k]);
            const double trapped = value_[columns_.trapped(k)];
            const double leak = value_[columns_.leak(k)];
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
                    torque = trapped * unit - ambient_ * arm;
                }
                if (s == 0) first_torque = torque;
                sums(s + 1, columns_.trapped(k)) = by_trapped;
                sums(s + 1, columns_.leak(k)) = by_leak;
                sums(s + 1, columns_.exponent()) += by_exponent;
                sums(s + 1, columns_.tdc()) -= (torque - first_torque) * to_rad(1.0);
                sums(s + 1, shared) += ambient;
            }
        }
        const double knee = value_[columns_.knee()];
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
                -value_[columns_.at_knee()] * beyond - (free ? value_[columns_.armature()] * knee : 0.0);
        }
        for (const int i : {columns_.armature(), columns_.knee()}) sums(0, i) = sums(1, i);
        return sums;
    }

    [[nodiscard]] CycleModel model(std::size_t c) const {
        const CrankedCycle& cycle = cycles_[c];
        const auto rows = static_cast<Eigen::Index>(cycle.interval.size());
        Eigen::VectorXd exposure;
        const Eigen::MatrixXd sums = integrals(c, exposure);
        exposure_[c] = exposure;
        const int shared = columns_.tooth(0);
        // Energy along the cycle: what is linear in its parameter by the parameter, the rest is in those columns already.
        Eigen::VectorXd energy = sums.col(shared) * ambient_;
        for (int k = 0; k < columns_.cylinders; ++k)
            energy += sums.col(columns_.trapped(k)) * value_[columns_.trapped(k)];
        for (int i = columns_.speed(); i < columns_.knee(); ++i) energy += sums.col(i) * value_[i];
        for (int s = 0; s <= kSteps; ++s) energy[s] += local_[c][0] + local_[c][1] * s * step_rad_;
        CycleModel m{Eigen::MatrixXd::Zero(rows, columns_.count()), Eigen::MatrixXd(rows, 2), Eigen::VectorXd(rows),
                     Eigen::VectorXd(rows), Eigen::VectorXd(rows)};
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
                inertia[n] = 1.0 + value_[columns_.pistons()] * squares[n];
                const double here =
                    std::max(((1.0 - share) * energy[s] + share * energy[s + 1]) / inertia[n], 0.05 * mean);
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
                m.global.row(r).head(columns_.pistons()) +=
                    part * ((1.0 - share) * sums.row(s).head(columns_.pistons()) +
                            share * sums.row(s + 1).head(columns_.pistons()));
                m.local(r, 0) += part;
                m.local(r, 1) += part * at[n] * step_rad_;
            }
            const double width = to_rad(interval.width_deg);
            const double bend = 2.0 * interval.energy / width;
            m.global(r, columns_.tooth(interval.from)) += bend;
            m.global(r, columns_.tooth(interval.to)) -= bend;
            fitted += bend * (value_[columns_.tooth(interval.from)] - value_[columns_.tooth(interval.to)]);
            m.fitted[r] = fitted;
            m.residual[r] = interval.energy - fitted;
            m.deviation[r] = interval.energy + 0.3 * mean;
        }
        return m;
    }

    /// All that a Gauss-Newton step needs, and the objective at the present values.
    struct Balance {
        std::vector<CycleModel> models;
        std::vector<Eigen::Matrix2d> solve;  ///< inverse of each cycle's own 2 x 2
        Eigen::MatrixXd normal;
        Eigen::VectorXd right;
        double objective = 0.0;
    };

    [[nodiscard]] double unit() const { return 1.0 / (variance_ * stretch_); }

    [[nodiscard]] Balance balance() const {
        const int size = columns_.count();
        Balance b;
        b.normal = Eigen::MatrixXd::Zero(size, size);
        b.right = Eigen::VectorXd::Zero(size);
        exposure_.resize(cycles_.size());
        for (std::size_t c = 0; c < cycles_.size(); ++c) {
            b.models.push_back(model(c));
            const CycleModel& m = b.models.back();
            const Eigen::VectorXd weight = unit() * m.deviation.array().square().inverse();
            const Eigen::MatrixXd weighted_local = weight.asDiagonal() * m.local;
            b.solve.emplace_back((m.local.transpose() * weighted_local).inverse());
            if (left_out_[c]) continue;
            const Eigen::MatrixXd cross = weighted_local.transpose() * m.global;
            const Eigen::Vector2d own = weighted_local.transpose() * m.residual;
            b.normal += m.global.transpose() * weight.asDiagonal() * m.global - cross.transpose() * b.solve[c] * cross;
            b.right +=
                m.global.transpose() * (weight.asDiagonal() * m.residual) - cross.transpose() * (b.solve[c] * own);
            b.objective += m.residual.cwiseAbs2().dot(weight);
        }
        b.objective += prior_.dot((value_ - centre_).cwiseAbs2());
        b.right += prior_.cwiseProduct(centre_ - value_);
        b.normal.diagonal() += prior_;
        return b;
    }

    /// Moves by the step that `stiffness` allows.
    void move(const Balance& b, double stiffness) {
        Eigen::MatrixXd normal = b.normal;
        normal.diagonal() *= 1.0 + stiffness;
        Eigen::VectorXd change = normal.ldlt().solve(b.right);
        // Exponent, leak and dead centre pull together: far steps of theirs leave the straight part.
        const double far =
            std::max({std::fabs(change[columns_.exponent()]) / 0.06, std::fabs(change[columns_.tdc()]) / 1.0,
                      std::fabs(change[columns_.knee()]) / (0.08 * value_[columns_.knee()])});
        if (far > 1.0) change /= far;
        value_ += change;
        value_[columns_.exponent()] = std::clamp(value_[columns_.exponent()], 1.0, 1.6);
        for (std::size_t c = 0; c < cycles_.size(); ++c) {
            const CycleModel& m = b.models[c];
            const Eigen::VectorXd weight = unit() * m.deviation.array().square().inverse();
            local_[c] += b.solve[c] * (m.local.transpose() * (weight.asDiagonal() * (m.residual - m.global * change)));
        }
        take_ambient();
    }

    /// Levenberg and Marquardt: a step that makes things worse is taken back and tried shorter.
    double descend() {
        Balance best = balance();
        double stiffness = 1e-6;
        for (int round = 0; round < kRounds; ++round) {
            const Eigen::VectorXd value = value_;
            const std::vector<Eigen::Vector2d> local = local_;
            const double ambient = ambient_;
            move(best, stiffness);
            Balance next = balance();
            if (next.objective > best.objective) {
                value_ = value;
                local_ = local;
                ambient_ = ambient;
                stiffness = std::max(10.0 * stiffness, 1e-3);
                if (stiffness > 1e4) break;
                continue;
            }
            const bool done = best.objective - next.objective < 1e-4 * best.objective;
            best = std::move(next);
            stiffness *= 0.1;
            if (done) break;
        }
        covariance_ = best.normal.ldlt().solve(Eigen::MatrixXd::Identity(columns_.count(), columns_.count()));
        models_ = std::move(best.models);
        return best.objective;
    }

    /// The knee may lie in several places, of which a descent finds the nearest.
    void find_knee() {
        const Eigen::VectorXd value = value_;
        const std::vector<Eigen::Vector2d> local = local_;
        Eigen::VectorXd best_value;
        std::vector<Eigen::Vector2d> best_local;
        double best = std::numeric_limits<double>::infinity();
        for (const double knee : knees_) {
            value_ = value;
            local_ = local;
            value_[columns_.knee()] = knee;
            const double objective = descend();
            if (objective >= best) continue;
            best = objective;
            best_value = value_;
            best_local = local_;
        }
        value_ = best_value;
        local_ = best_local;
        take_ambient();
    }

    /// Scatter of the intervals about the model, and by how much neighbours' likeness widens what follows from many of them.
    void see_scatter() {
        double squares = 0.0;
        double number = -static_cast<double>(columns_.count());
        std::vector<double> lagged(kFarthestLike, 0.0);
        misfit_.assign(cycles_.size(), 0.0);
        for (std::size_t c = 0; c < cycles_.size(); ++c) {
            const CycleModel& m = models_[c];
            const Eigen::VectorXd scaled = m.residual.cwiseQuotient(m.deviation);
            misfit_[c] = scaled.squaredNorm() / static_cast<double>(scaled.size());
            if (left_out_[c]) continue;
            squares += scaled.squaredNorm();
            number += static_cast<double>(scaled.size()) - 2.0;
            for (std::size_t lag = 1; lag < lagged.size(); ++lag)
                for (Eigen::Index i = static_cast<Eigen::Index>(lag); i < scaled.size(); ++i)
                    lagged[lag] += scaled[i] * scaled[i - static_cast<Eigen::Index>(lag)];
        }
        variance_ = std::max(squares / std::max(number, 10.0), 1e-8);
        stretch_ = 1.0;
        for (std::size_t lag = 1; lag < lagged.size() && lagged[lag] > 0.0; ++lag)
            stretch_ += 2.0 * lagged[lag] / squares;
        stretch_ *= likeness_of_cycles();
    }

    /// What the model does not hold is the same in every cycle: then many cycles tell no more of it than one does.
    [[nodiscard]] double likeness_of_cycles() const {
        constexpr int kPlaces = 360;
        std::vector<double> sum(kPlaces, 0.0);
        std::vector<double> square_sum(kPlaces, 0.0);
        std::vector<int> number(kPlaces, 0);
        for (std::size_t c = 0; c < cycles_.size(); ++c) {
            if (left_out_[c]) continue;
            const Eigen::VectorXd scaled = models_[c].residual.cwiseQuotient(models_[c].deviation);
            for (Eigen::Index i = 0; i < scaled.size(); ++i) {
                const CrankedInterval& interval = cycles_[c].interval[static_cast<std::size_t>(i)];
                const auto place = static_cast<std::size_t>((interval.begin_deg + 0.5 * interval.width_deg) *
                                                            (kPlaces - 1) / cycle_deg_);
                sum[place] += scaled[i];
                square_sum[place] += square(scaled[i]);
                ++number[place];
            }
        }
        double between_pairs = 0.0;
        double pairs = 0.0;
        double all = 0.0;
        double count = 0.0;
        for (std::size_t p = 0; p < sum.size(); ++p) {
            between_pairs += square(sum[p]) - square_sum[p];
            pairs += number[p] * (number[p] - 1.0);
            all += square_sum[p];
            count += number[p];
        }
        if (pairs < 1.0 || all <= 0.0) return 1.0;
        const double likeness = std::clamp(between_pairs / pairs / (all / count), 0.0, 1.0);
        return 1.0 + (static_cast<double>(cycles_.size()) - 1.0) * likeness;
    }

    /// Nothing tells the size: a throttle that stands open fills the best cylinder to ambient pressure.
    void take_ambient() {
        if (sized_) return;
        double most = 0.0;
        for (int k = 0; k < columns_.cylinders; ++k) most = std::max(most, value_[columns_.trapped(k)]);
        ambient_ = std::max(most, 1e-3);
    }

    /// A cycle in which something fired, or the starter let go, fits several times worse than the others.
    void leave_out_strangers() {
        std::vector<double> sorted = misfit_;
        std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2), sorted.end());
        const double usual = sorted[sorted.size() / 2];
        for (std::size_t c = 0; c < cycles_.size(); ++c) left_out_[c] = misfit_[c] > 6.0 * usual;
    }

    [[nodiscard]] CompressionFit result() const {
        CompressionFit fit;
        const int z = columns_.cylinders;
        fit.cylinders = z;
        double speed = 0.0;
        for (std::size_t c = 0; c < cycles_.size(); ++c) {
            if (left_out_[c]) {
                ++fit.left_out;
                continue;
            }
            ++fit.cycles;
            speed += to_rad(cycle_deg_) / cycles_[c].seconds;
            for (int k = 0; k < z; ++k) fit.exposure[static_cast<std::size_t>(k)] += exposure_[c][k];
        }
        const double used = std::max(fit.cycles, 1);
        fit.mean_rpm = speed / used * 30.0 / std::numbers::pi;
        for (int k = 0; k < z; ++k) {
            const auto at = static_cast<std::size_t>(k);
            fit.exposure[at] /= used;
            fit.trapped[at] = value_[columns_.trapped(k)];
            fit.leak[at] = value_[columns_.leak(k)];
        }
        fit.exponent = value_[columns_.exponent()];
        fit.tdc_deg = value_[columns_.tdc()];
        fit.ambient_bar = ambient_;
        fit.scatter = std::sqrt(variance_);
        fit.stretch = stretch_;
        fit.covariance = covariance_.topLeftCorner(2 * z + 1, 2 * z + 1);
        fit.shown = cycles_.size() / 2;
        const Eigen::VectorXd fitted = model(fit.shown).fitted;
        fit.fitted.assign(fitted.data(), fitted.data() + fitted.size());
        return fit;
    }

    const Config& config_;
    const std::vector<CrankedCycle>& cycles_;
    double half_deg_;
    double cycle_deg_;
    double step_rad_;
    bool sized_ = false;
    double torque_ = 1.0;
    double ambient_ = kAmbient_bar;
    GasTables tables_;
    Columns columns_;
    Eigen::VectorXd value_;
    Eigen::VectorXd centre_;
    Eigen::VectorXd prior_;              // inverse variances
    std::vector<double> piston_square_;  // sum of squared levers at each step
    std::vector<std::vector<double>> speeds_;
    double bend_ = 0.0;  // rad/s
    std::vector<double> knees_;
    std::vector<bool> left_out_;
    std::vector<Eigen::Vector2d> local_;
    mutable std::vector<Eigen::VectorXd> exposure_;
    std::vector<double> misfit_;
    std::vector<CycleModel> models_;
    double variance_ = square(0.01);  // until the scatter has been seen
    double stretch_ = 1.0;
    Eigen::MatrixXd covariance_;
};

}  // namespace

CompressionFit fit_compression(const Config& config, const std::vector<CrankedCycle>& cycles, double half_deg) {
    return Fitter(config, cycles, half_deg).run();
}

double tdc_gauge_bar(const CompressionFit& fit, double bottom_over_clearance, int k, double trapped, double leak,
                     double exponent) {
    const double x = fit.exposure[static_cast<std::size_t>(k)];
    return trapped * std::pow(bottom_over_clearance, exponent) * std::exp(-leak * x) - fit.ambient_bar;
}

}  // namespace kurbel
