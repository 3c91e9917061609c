#include "study/work_orders.hpp"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/expected_work.hpp"
#include "kurbel/stage/half_turn.hpp"
#include "kurbel/stage/reference_torque.hpp"

namespace kurbel {

namespace {

using Complex = std::complex<double>;

constexpr double kBurnCentre_deg = 11.0;   ///< half burnt, after TDC; a usual value, from memory
constexpr double kRunOut_deg = 0.05;       ///< amplitude of one component at order 1, from memory
constexpr double kTooth_deg = 0.15;        ///< each tooth, from memory
constexpr double kSlowestMode_hz = 250.0;  ///< first torsion of a long crank
constexpr double kUsualMode_hz = 320.0;    ///< of a car's engine: 200 to 500, from memory
constexpr double kTwistDoubt = 0.8;        ///< of what follows from that, share
constexpr double kSizeDoubt =
    0.12;  ///< of expected work by load, geometry and inertia (engineering range, from memory)
constexpr double kLoadDoubt = 0.10;    ///< of a load channel, share (engineering range, from memory)
constexpr double kSpread = 0.5;        ///< of cylinders' work before anything was measured, share
constexpr double kSoundSpread = 0.04;  ///< of a sound engine's (engineering range, from memory)
constexpr double kSizeGuessed = 0.3;   ///< where one of these is not known
constexpr int kBlocks = 20;

double square(double x) { return x * x; }

/// Energy phasors of each cycle at the orders in use, by least squares over its intervals: so a gap leaks nothing.
class Phasors {
  public:
    Phasors(const EngineConfig& engine, const CycleProfiles& profiles, int highest) : waves_(highest) {
        const double cycle_rad = to_rad(engine.cycle_deg());
        const auto rows = static_cast<Eigen::Index>(profiles.begin_deg.size());
        Eigen::MatrixXd design(rows, 1 + 2 * waves_);
        Eigen::VectorXd slope(rows);
        for (Eigen::Index i = 0; i < rows; ++i) {
            const auto at = static_cast<std::size_t>(i);
            const double width = to_rad(profiles.width_deg[at]);
            const double middle = to_rad(profiles.begin_deg[at]) + 0.5 * width;
            slope[i] = middle / cycle_rad;
            design(i, 0) = 1.0;
            for (int w = 0; w < waves_; ++w) {
                const double turn = 2.0 * std::numbers::pi * (w + 1) / cycle_rad;
                const double softened = std::sin(0.5 * turn * width) / (0.5 * turn * width);
                design(i, 1 + 2 * w) = softened * std::cos(turn * middle);
                design(i, 2 + 2 * w) = -softened * std::sin(turn * middle);
            }
        }
        // Errors sit at the teeth: what one makes an interval too long, the next is too short. Sums from the first tooth on have
        // errors that are independent from tooth to tooth (and one for the first), so the gap costs no more than its teeth.
        Eigen::MatrixXd sums = Eigen::MatrixXd::Zero(rows + 1, rows);
        for (Eigen::Index i = 1; i <= rows; ++i)
            for (Eigen::Index j = 0; j < i; ++j) sums(i, j) = to_rad(profiles.width_deg[static_cast<std::size_t>(j)]);
        Eigen::MatrixXd summed(rows + 1, 2 + 2 * waves_);
        summed.col(0).setOnes();
        summed.rightCols(1 + 2 * waves_) = sums * design;
        const Eigen::MatrixXd normal = summed.transpose() * summed;
        solve_ = (normal.ldlt().solve(summed.transpose()) * sums).bottomRows(1 + 2 * waves_);
        slope_ = solve_ * slope;
    }

    /// Component `per_cycle` of a cycle whose energy rises by `rise` along it.
    [[nodiscard]] Complex at(const CycleProfile& cycle, int per_cycle, double rise) const {
        const Eigen::Map<const Eigen::VectorXd> values(cycle.interval.data(),
                                                       static_cast<Eigen::Index>(cycle.interval.size()));
        const Eigen::Index row = 2 * per_cycle - 1;
        return {solve_.row(row).dot(values) - rise * slope_[row],
                solve_.row(row + 1).dot(values) - rise * slope_[row + 1]};
    }

  private:
    int waves_;
    Eigen::MatrixXd solve_;
    Eigen::VectorXd slope_;
};

/// What one order says: the part that goes with work, per unit of mean work.
struct Order {
    int per_cycle = 1;
    double per_turn = 0.5;
    Complex value = 0.0;     ///< energy phasor per mean work
    double variance = 0.0;   ///< of each component, from scatter and wheel
    Eigen::VectorXcd lever;  ///< phasor of one unit of work more at each place, per mean work; then the twisted parts
};

class Sharer {
  public:
    Sharer(const Config& config, const CycleProfiles& profiles)
        : config_(config), profiles_(profiles), cylinders_(config.engine.cylinders) {
        turns_ = config.engine.strokes == 2 ? 1 : 2;
        const double resolved = std::floor(0.42 * config.crank_wheel.teeth * turns_);
        highest_ = static_cast<int>(std::clamp(resolved, 1.0, 24.0));
        gain_ = first_mode_gain(config.engine, config.crank_wheel.at);
    }

    WorkShares run() {
        WorkShares shares;
        take_cycles(shares);
        const Phasors phasors(config_.engine, profiles_, highest_);
        const CombustionWork burn(SliderCrank::of(config_.engine), kBurnCentre_deg);
        const int most = std::min({highest_, std::max(cylinders_ - 1, 3), 8});
        for (int m = 1; m <= most; ++m)
            if (tells(m)) add_order(phasors, burn, m);
        solve(shares);
        return shares;
    }

  private:
    struct Used {
        const CycleProfile* cycle = nullptr;
        double rise = 0.0;
        double work = 0.0;    ///< expected, over mean work
        double energy = 0.0;  ///< over mean energy
    };

    /// Cycles between whole neighbours, with one thing burning; expected work goes with load.
    void take_cycles(WorkShares& shares) {
        const auto& cycles = profiles_.cycles;
        double useful = 0.0;
        double turns_s = 0.0;
        for (std::size_t i = 1; i + 1 < cycles.size(); ++i) {
            const bool between =
                cycles[i - 1].number + 1 == cycles[i].number && cycles[i].number + 1 == cycles[i + 1].number;
            const bool settled = cycles[i - 1].cut == cycles[i].cut && !cycles[i].mixed && !cycles[i - 1].mixed;
            if (!between || !settled) continue;
            const double load = cycles[i].load == cycles[i].load ? cycles[i].load : kUnknown;
            const double charge = cycles[i].cut ? 0.0 : ExpectedWork<double>::useful_charge(load);
            used_.push_back({&cycles[i], 0.5 * (cycles[i + 1].energy - cycles[i - 1].energy), charge});
            useful += charge;
            energy_ += cycles[i].energy;
            turns_s += cycles[i].seconds / turns_;
        }
        const double count = static_cast<double>(used_.size());
        if (used_.empty()) return;
        energy_ /= count;
        rev_hz_ = count / turns_s;
        const double mean = std::max(useful / count, 1e-3);
        for (Used& used : used_) {
            used.work /= mean;
            used.energy = used.cycle->energy / energy_;
        }
        smooth();
        shares.cycles = static_cast<int>(used_.size());
        const EngineConfig& engine = config_.engine;
        const bool sized = engine.bore_mm > 0.0 && engine.stroke_mm > 0.0 && engine.inertia_kg_m2 > 0.0;
        shares.mean = ExpectedWork<double>::work_at_full_charge(engine) * mean;
        // A load channel is wrong by a tenth or so, which weighs most where little of the charge is useful.
        const double load = mean + 0.09;
        intake_ = ExpectedWork<double>::intake_share(load);
        shares.mean_doubt =
            sized && profiles_.load_known ? std::hypot(kSizeDoubt, kLoadDoubt * load / mean) : kSizeGuessed;
        mean_work_ = shares.mean;
    }

    /// One weak burn lowers its own cycle's energy and shows in its phasors: that is no wheel error. What goes with speed and load
    /// is looked for over many cycles.
    void smooth() {
        constexpr std::ptrdiff_t kReach = 12;
        const std::vector<Used> raw = used_;
        const auto count = static_cast<std::ptrdiff_t>(raw.size());
        for (std::ptrdiff_t i = 0; i < count; ++i) {
            const std::ptrdiff_t reach = std::min({kReach, i, count - 1 - i});
            double work = 0.0;
            double energy = 0.0;
            double number = 0.0;
            for (std::ptrdiff_t j = i - reach; j <= i + reach; ++j) {
                const auto at = static_cast<std::size_t>(j);
                // Fuel cut is no noise, and its edge stays sharp.
                if (raw[at].cycle->cut != raw[static_cast<std::size_t>(i)].cycle->cut) continue;
                work += raw[at].work;
                energy += raw[at].energy;
                number += 1.0;
            }
            used_[static_cast<std::size_t>(i)].work = work / number;
            used_[static_cast<std::size_t>(i)].energy = energy / number;
        }
    }

    [[nodiscard]] Complex turn(int m, int place) const {
        return std::polar(1.0, -2.0 * std::numbers::pi * m *
                                   config_.engine.firing_tdc_deg[static_cast<std::size_t>(place)] /
                                   config_.engine.cycle_deg());
    }

    /// Whether cylinders that differ show at this order: not where all of them add up, nor near the crank's torsion.
    [[nodiscard]] bool tells(int m) const {
        Complex sum = 0.0;
        for (int k = 0; k < cylinders_; ++k) sum += turn(m, k);
        const double near = square(m / static_cast<double>(turns_) * rev_hz_ / kSlowestMode_hz);
        return std::abs(sum) < 0.05 * cylinders_ && near < 0.5;
    }

    /// Regresses each cycle's phasor on its work and, at integer orders, on its energy, which the wheel's error goes with.
    void add_order(const Phasors& phasors, const CombustionWork& burn, int m) {
        Order order;
        order.per_cycle = m;
        order.per_turn = m / static_cast<double>(turns_);
        const bool wheel = m % turns_ == 0;
        std::vector<Complex> seen;
        for (const Used& used : used_) seen.push_back(phasors.at(*used.cycle, m, used.rise));
        // An angle error of amplitude e at order h bends energy by 2 h e of it.
        const double tooth = kTooth_deg * std::sqrt(2.0 / config_.crank_wheel.teeth);
        const double error = to_rad(std::hypot(order.per_turn < 1.5 ? kRunOut_deg : 0.0, tooth));
        const double prior = wheel ? square(2.0 * order.per_turn * error * energy_) : 0.0;
        double variance = 1.0;
        Complex work = 0.0;
        Complex bend = 0.0;
        Eigen::Matrix2d covariance = Eigen::Matrix2d::Identity();
        for (int round = 0; round < 3; ++round) {
            Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
            Complex right[2] = {0.0, 0.0};
            for (std::size_t i = 0; i < used_.size(); ++i) {
                const double w = used_[i].work;
                const double e = wheel ? used_[i].energy : 0.0;
                normal += (Eigen::Matrix2d() << w * w, w * e, w * e, e * e).finished();
                right[0] += w * seen[i];
                right[1] += e * seen[i];
            }
            normal /= variance;
            normal(1, 1) += wheel ? 1.0 / prior : 1.0;
            covariance = normal.inverse();
            work = (covariance(0, 0) * right[0] + covariance(0, 1) * right[1]) / variance;
            bend = (covariance(1, 0) * right[0] + covariance(1, 1) * right[1]) / variance;
            variance = block_variance(seen, work, bend);
        }
        order.value = work / mean_work_;
        order.variance = covariance(0, 0) / square(mean_work_);
        order.lever.resize(cylinders_ + kTwisted);
        // Work W at one place gives torque W pulse; its phasor over the cycle is 2 W P / cycle, energy is that over j h.
        Complex pulse = 0.0;
        const double cycle_rad = to_rad(config_.engine.cycle_deg());
        const double wave = 2.0 * std::numbers::pi * m / cycle_rad;
        for (int i = 0; i < CombustionWork::kSteps; ++i)
            pulse +=
                burn.pulse(i) *
                std::polar(1.0, -wave * to_rad(CombustionWork::kFirst_deg + (i + 0.5) * CombustionWork::kStep_deg));
        const Complex one = 2.0 / cycle_rad * pulse / Complex(0.0, wave);
        // Each cylinder twists the crank by its place on it. So even cylinders that work alike show, below the mode as the square of
        // the order; their compression, too.
        const double ratio = square(order.per_turn * rev_hz_ / kUsualMode_hz);
        const double twist = ratio / std::max(1.0 - ratio, 0.3);
        const Complex gas = 2.0 / cycle_rad * compression(wave) / Complex(0.0, wave);
        order.lever.tail(kTwisted).setZero();
        for (int k = 0; k < cylinders_; ++k) {
            const double gain = gain_[static_cast<std::size_t>(k)] * twist;
            order.lever[k] = one * turn(m, k) * (1.0 - gain);
            order.lever[cylinders_] -= gain * one * turn(m, k);
            order.lever[cylinders_ + 1] -= gain * gas * turn(m, k);
        }
        orders_.push_back(order);
    }

    /// Compression and expansion without heat at `wave` per radian, per unit of intake pressure over indicated mean pressure.
    [[nodiscard]] Complex compression(double wave) const {
        const SliderCrank crank = SliderCrank::of(config_.engine);
        Complex sum = 0.0;
        for (int deg = -178; deg < 180; deg += 4)
            sum += 0.5 * to_rad(4.0) * crank.lever(to_rad(deg)) *
                   std::pow(crank.compression_ratio / crank.volume(to_rad(deg)), 1.3) *
                   std::polar(1.0, -wave * to_rad(deg));
        return sum;
    }

    /// Variance of one cycle's component that follows from how blocks of cycles scatter: slow drift counts.
    [[nodiscard]] double block_variance(const std::vector<Complex>& seen, Complex work, Complex bend) const {
        const std::size_t length = std::max<std::size_t>(1, seen.size() / kBlocks);
        double by_block = 0.0;
        double alone = 0.0;
        double blocks = 0.0;
        for (std::size_t begin = 0; begin + length <= seen.size(); begin += length) {
            Complex sum = 0.0;
            for (std::size_t i = begin; i < begin + length; ++i) {
                const Complex left = seen[i] - used_[i].work * work - used_[i].energy * bend;
                sum += left;
                alone += 0.5 * std::norm(left);
            }
            by_block += 0.5 * std::norm(sum) / static_cast<double>(length);
            blocks += 1.0;
        }
        const double single = alone / (blocks * static_cast<double>(length));
        return std::max(by_block / std::max(blocks - 1.0, 1.0), single);
    }

    /// Share of a difference that the shape of the burn, driveline and torsion may bend at this order.
    [[nodiscard]] double bent(const Order& order) const {
        const double ratio = square(order.per_turn * rev_hz_ / kSlowestMode_hz);
        return 0.10 + 0.10 * order.per_turn + 0.5 * ratio / std::max(1.0 - ratio, 0.3);
    }

    /// Spread that may be expected between cylinders whose difference only integer orders tell: twice what is seen, free of the
    /// wheel, between those a revolution apart (few pairs tell a spread to a factor of two), and at least that of sound engines.
    [[nodiscard]] double spread_of_pairs(const Eigen::VectorXd& share) const {
        double sum = 0.0;
        for (int k = 0; k < cylinders_; ++k) {
            const int partner = partner_under_360(config_.engine, k);
            if (partner < 0) return kSpread;
            sum += 0.5 * square(share[k] - share[partner]) / cylinders_;
        }
        return std::min(kSoundSpread + 2.0 * std::sqrt(sum), kSpread);
    }

    void solve(WorkShares& shares) const {
        const int z = cylinders_;
        const int all = z + kTwisted;
        Eigen::VectorXd expected = Eigen::VectorXd::Zero(all);
        expected[z] = 1.0;
        expected[z + 1] = intake_;
        Eigen::VectorXd share = expected;
        Eigen::MatrixXd covariance = Eigen::MatrixXd::Identity(all, all);
        // Begun narrow: what integer orders cannot tell must not pass for a difference that widens everything else.
        double plausible = spread_of_pairs(share);
        double misfit = 0.0;
        for (int round = 0; round < 5; ++round) {
            Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(all, all);
            normal.diagonal().head(z).setConstant(1.0 / square(plausible));
            normal.topLeftCorner(z, z).array() += 1e6;  // their sum is 0
            normal(z, z) = 1.0 / square(kTwistDoubt);
            normal(z + 1, z + 1) = 1.0 / square(kTwistDoubt * intake_);
            Eigen::VectorXd right = normal * expected;
            misfit = 0.0;
            const double norm = share.head(z).squaredNorm();
            for (const Order& order : orders_) {
                // All cylinders are bent alike in the main, and each in its own way a little.
                const Complex fitted = (order.lever.transpose() * share.cast<Complex>())(0);
                const double twisted = std::norm(order.lever[z]) + std::norm(intake_ * order.lever[z + 1]);
                const double model =
                    square(bent(order)) * 0.5 * (std::norm(fitted) + 0.2 * std::norm(order.lever[0]) * norm) +
                    0.5 * square(0.3) * twisted;
                const double weight = 1.0 / (order.variance + model + 1e-14);
                normal += weight * (order.lever.conjugate() * order.lever.transpose()).real();
                right += weight * (order.lever.conjugate() * order.value).real();
                misfit += weight * std::norm(order.value - fitted);
            }
            covariance = normal.inverse();
            share = covariance * right;
            plausible = spread_of_pairs(share);
        }
        const double freedom = std::max(2.0 * static_cast<double>(orders_.size()) - (z - 1), 1.0);
        shares.misfit = misfit / freedom;
        covariance *= std::max(shares.misfit, 1.0);
        shares.deviation = mean_work_ * share.head(z);
        shares.covariance = square(mean_work_) * covariance.topLeftCorner(z, z);
        shares.wheel_matters = turns_ == 2 && cylinders_ % 2 == 0;
    }

    const Config& config_;
    const CycleProfiles& profiles_;
    int cylinders_;
    int turns_ = 2;
    static constexpr int kTwisted = 2;  // combustion, compression
    int highest_ = 1;
    double intake_ = 1.0;  // pressure over indicated mean pressure
    std::array<double, kMaxCylinders> gain_{};
    std::vector<Used> used_;
    double energy_ = 0.0;
    double rev_hz_ = 0.0;
    double mean_work_ = 1.0;
    std::vector<Order> orders_;
};

}  // namespace

WorkShares share_work(const Config& config, const CycleProfiles& profiles) { return Sharer(config, profiles).run(); }

}  // namespace kurbel
