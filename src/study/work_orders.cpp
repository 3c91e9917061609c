#include "study/work_orders.hpp"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/expected_work.hpp"
#include "kurbel/stage/reference_torque.hpp"
#include "study/cycle_phasors.hpp"
#include "study/tooth_error.hpp"
#include "study/work_explained.hpp"
#include "study/work_size.hpp"

namespace kurbel {

namespace {

using Complex = CyclePhasors::Complex;

constexpr double kBurnCentre_deg = 11.0;  ///< half burnt, after TDC; a usual value, from memory
/// Amplitude at order 1 of a wheel that is not quite round and centred, and falling as the square of the order beyond: 0.05 mm at a
/// radius of 57 mm (from memory). Work hides it, so that no recording at one speed shows how large it is.
constexpr double kRunOut_deg = 0.05;
constexpr double kTooth_deg =
    0.15;  ///< each tooth, where the recording does not show how far they stand off; from memory
constexpr double kUsualMode_hz = 320.0;  ///< of a car's engine: 200 to 500, from memory
constexpr int kBlocks = 20;

double square(double x) { return x * x; }

class Sharer {
  public:
    Sharer(const Config& config, const CycleProfiles& profiles)
        : config_(config), profiles_(profiles), cylinders_(config.engine.cylinders) {
        turns_ = config.engine.strokes == 2 ? 1 : 2;
        const double resolved = std::floor(0.42 * config.crank_wheel.teeth * turns_);
        highest_ = static_cast<int>(std::clamp(resolved, 1.0, 24.0));
        gain_ = first_mode_gain(config.engine, config.crank_wheel.at);
        const double seen_deg = tooth_error_deg(config, profiles);
        tooth_deg_ = std::isfinite(seen_deg) ? seen_deg : kTooth_deg;
    }

    WorkShares run() {
        WorkShares shares;
        take_cycles(shares);
        const CyclePhasors phasors(config_.engine, profiles_, highest_);
        const CombustionWork burn(SliderCrank::of(config_.engine), kBurnCentre_deg);
        const int most = std::min({highest_, std::max(cylinders_ - 1, 3), 8});
        for (int m = 1; m <= most; ++m)
            if (tells(m)) add_order(phasors, burn, m);
        explain_orders(config_.engine, told_, shares);
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
        told_.rev_hz = count / turns_s;
        const double mean = std::max(useful / count, 1e-3);
        for (Used& used : used_) {
            used.work /= mean;
            used.energy = used.cycle->energy / energy_;
        }
        smooth();
        shares.cycles = static_cast<int>(used_.size());
        const bool fuelled = std::none_of(used_.begin(), used_.end(), [](const Used& used) { return used.cycle->cut; });
        const WorkSize size = size_of_work(config_.engine, {mean, told_.rev_hz, profiles_.load_known, fuelled});
        shares.mean = size.mean;
        told_.intake = ExpectedWork<double>::intake_share(mean + 0.09) * mean *
                       ExpectedWork<double>::work_at_full_charge(config_.engine) / size.mean;
        shares.mean_doubt = size.doubt;
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
        const double near = square(m / static_cast<double>(turns_) * told_.rev_hz / kSlowestMode_hz);
        return std::abs(sum) < 0.05 * cylinders_ && near < 0.5;
    }

    /// Regresses each cycle's phasor on its work and, at integer orders, on its energy, which the wheel's error goes with.
    void add_order(const CyclePhasors& phasors, const CombustionWork& burn, int m) {
        WorkOrder order;
        order.per_cycle = m;
        order.per_turn = m / static_cast<double>(turns_);
        const bool wheel = m % turns_ == 0;
        std::vector<Complex> seen;
        for (const Used& used : used_) seen.push_back(phasors.at(*used.cycle, m, used.rise));
        // An angle error of amplitude e at order h bends energy by 2 h e of it; of unknown phase, half of its square lies in each
        // component.
        const double tooth = tooth_deg_ * std::sqrt(2.0 / config_.crank_wheel.teeth);
        const double error = to_rad(std::hypot(kRunOut_deg / std::numbers::sqrt2 / square(order.per_turn), tooth));
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
            variance = block_variance(seen, work, bend, wheel);
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
        const double ratio = square(order.per_turn * told_.rev_hz / kUsualMode_hz);
        const double twist = ratio / std::max(1.0 - ratio, 0.3);
        const Complex gas = 2.0 / cycle_rad * compression(wave) / Complex(0.0, wave);
        order.lever.tail(kTwisted).setZero();
        for (int k = 0; k < cylinders_; ++k) {
            const double gain = gain_[static_cast<std::size_t>(k)] * twist;
            order.lever[k] = one * turn(m, k) * (1.0 - gain);
            order.lever[cylinders_] -= gain * one * turn(m, k);
            order.lever[cylinders_ + 1] -= gain * gas * turn(m, k);
        }
        told_.orders.push_back(order);
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

    /// Variance of one cycle's component that follows from how blocks of cycles scatter: slow drift counts, and what one cycle passes on
    /// to the next (the energy that it ends with) does not. Where the wheel's error is fitted beside work, drift may pass for it, so that
    /// single cycles have their say, too.
    [[nodiscard]] double block_variance(const std::vector<Complex>& seen, Complex work, Complex bend,
                                        bool wheel) const {
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
        by_block /= std::max(blocks - 1.0, 1.0);
        return wheel ? std::max(by_block, alone / (blocks * static_cast<double>(length))) : by_block;
    }

    const Config& config_;
    const CycleProfiles& profiles_;
    int cylinders_;
    int turns_ = 2;
    int highest_ = 1;
    std::array<double, kMaxCylinders> gain_{};
    double tooth_deg_ = kTooth_deg;
    std::vector<Used> used_;
    double energy_ = 0.0;
    double mean_work_ = 1.0;
    OrdersTold told_;
};

}  // namespace

WorkShares share_work(const Config& config, const CycleProfiles& profiles) { return Sharer(config, profiles).run(); }

}  // namespace kurbel
