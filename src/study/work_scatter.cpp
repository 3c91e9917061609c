#include "study/work_scatter.hpp"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>

#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/reference_torque.hpp"

namespace kurbel {

namespace {

constexpr std::size_t kFewest = 60;
constexpr double kTail_deg = 150.0;
constexpr double kBurnCentre_deg = 11.0;

double median(std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// Pairs of neighbouring cycles that are steady and free of misfires: index of the first.
std::vector<std::size_t> steady_cycles(const CycleProfiles& profiles) {
    std::vector<double> energy;
    std::vector<double> load;
    for (const CycleProfile& cycle : profiles.cycles) {
        if (cycle.cut || cycle.mixed) continue;
        energy.push_back(cycle.energy);
        if (cycle.load == cycle.load) load.push_back(cycle.load);
    }
    std::vector<std::size_t> chosen;
    if (energy.size() < kFewest) return chosen;
    const double usual = median(energy);
    const double usual_load = load.empty() ? 0.0 : median(load);
    const auto& cycles = profiles.cycles;
    const auto fits = [&](const CycleProfile& cycle) {
        return !cycle.cut && !cycle.mixed && cycle.misfires == 0 && std::fabs(cycle.energy / usual - 1.0) < 0.16 &&
               (cycle.load != cycle.load || std::fabs(cycle.load - usual_load) < 0.05);
    };
    for (std::size_t i = 1; i + 1 < cycles.size(); ++i)
        if (cycles[i - 1].number + 1 == cycles[i].number && cycles[i].number + 1 == cycles[i + 1].number &&
            cycles[i - 1].misfires == 0 && fits(cycles[i]) && fits(cycles[i + 1]))
            chosen.push_back(i);
    return chosen;
}

/// Running share of one combustion's work at `deg` after its TDC.
class WorkDone {
  public:
    explicit WorkDone(const EngineConfig& engine) : burn_(SliderCrank::of(engine), kBurnCentre_deg) {
        double sum = 0.0;
        done_.push_back(0.0);
        for (int i = 0; i < CombustionWork::kSteps; ++i) done_.push_back(sum += burn_.pulse(i));
    }
    [[nodiscard]] double at(double deg) const {
        const double place = (deg - CombustionWork::kFirst_deg) / CombustionWork::kStep_deg;
        if (place <= 0.0) return 0.0;
        const auto i = static_cast<std::size_t>(place);
        if (i + 1 >= done_.size()) return 1.0;
        const double share = place - static_cast<double>(i);
        return (1.0 - share) * done_[i] + share * done_[i + 1];
    }

  private:
    CombustionWork burn_;
    std::vector<double> done_;
};

class Scatterer {
  public:
    Scatterer(const Config& config, const CycleProfiles& profiles)
        : config_(config), profiles_(profiles), cycle_deg_(config.engine.cycle_deg()), done_(config.engine) {
        const std::size_t all = profiles.begin_deg.size();
        for (std::size_t i = 0; i < 2 * all; ++i) {
            const double begin = profiles.begin_deg[i % all] + (i < all ? 0.0 : cycle_deg_);
            if (begin - profiles.begin_deg.front() > cycle_deg_ + kTail_deg) break;
            begin_deg_.push_back(begin);
        }
        list_firings();
    }

    WorkScatter run() {
        WorkScatter scatter;
        const std::vector<std::size_t> chosen = steady_cycles(profiles_);
        if (chosen.size() < kFewest) return scatter;
        usual_cycle(chosen);
        prepare();
        const int z = config_.engine.cylinders;
        std::vector<std::vector<double>> work(static_cast<std::size_t>(z));
        double left = 0.0;
        for (const std::size_t i : chosen) {
            const Eigen::VectorXd lag = lags(i);
            const Eigen::VectorXd found = solve_ * lag;
            left += (lag - design_ * found).squaredNorm();
            // Against the mean of its cycle: what driveline and load do slowly is the same for all firings of a cycle.
            double mean = 0.0;
            for (std::size_t f = 0; f < firing_.size(); ++f)
                if (firing_[f].own) mean += found[static_cast<Eigen::Index>(f) + 2] / z;
            for (std::size_t f = 0; f < firing_.size(); ++f)
                if (firing_[f].own) work[firing_[f].place].push_back(found[static_cast<Eigen::Index>(f) + 2] - mean);
        }
        const double freedom =
            static_cast<double>(design_.rows() - design_.cols()) * static_cast<double>(chosen.size());
        const double noise = left / freedom;
        scatter.cycles = static_cast<int>(chosen.size());
        scatter.variance.resize(z);
        scatter.variance_error.resize(z);
        scatter.noise.resize(z);
        const double n = static_cast<double>(chosen.size());
        for (std::size_t f = 0; f < firing_.size(); ++f) {
            if (!firing_[f].own) continue;
            const std::vector<double>& values = work[firing_[f].place];
            double mean = 0.0;
            double square = 0.0;
            double fourth = 0.0;
            for (const double value : values) mean += value / n;
            for (const double value : values) square += (value - mean) * (value - mean) / (n - 1.0);
            for (const double value : values) fourth += std::pow(value - mean, 4.0) / n;
            const auto k = static_cast<Eigen::Index>(firing_[f].place);
            const auto at = static_cast<Eigen::Index>(f) + 2;
            scatter.noise[k] = noise * inverse_(at, at);
            scatter.variance[k] = square - scatter.noise[k];
            // Burns scatter with a heavy low side: the fourth moment as it was seen. The noise's own share is known to a third.
            scatter.variance_error[k] =
                std::hypot(std::sqrt(std::max(fourth - square * square, 0.0) / n), scatter.noise[k] / 3.0);
        }
        own_variance(scatter);
        return scatter;
    }

  private:
    /// From the variance about the cycle's mean of z independent firings to that of one alone.
    static void own_variance(WorkScatter& scatter) {
        const auto z = static_cast<double>(scatter.variance.size());
        const double all = scatter.variance.sum() / (1.0 - 1.0 / z);
        if (z < 3.0) {
            scatter.variance.setConstant(all / z);
            scatter.variance_error *= 2.0;
            return;
        }
        scatter.variance = (scatter.variance.array() - all / (z * z)) / (1.0 - 2.0 / z);
        scatter.variance_error /= 1.0 - 2.0 / z;
    }

    struct Firing {
        std::size_t place = 0;
        double tdc_deg = 0.0;
        bool own = false;  ///< its whole work lies in the window
    };

    /// All that burn in the window: those of this cycle are wanted, the others are there for their share.
    void list_firings() {
        const double first = begin_deg_.front();
        const double last = begin_deg_.back();
        for (int cycle = -1; cycle <= 1; ++cycle)
            for (int k = 0; k < config_.engine.cylinders; ++k) {
                const double tdc = config_.engine.firing_tdc_deg[static_cast<std::size_t>(k)] + cycle * cycle_deg_;
                // Little of what ends or begins at an edge of the window shows.
                if (tdc + 100.0 < first || tdc + 25.0 > last) continue;
                firing_.push_back(
                    {static_cast<std::size_t>(k), tdc, tdc >= first + 20.0 && tdc < first + 20.0 + cycle_deg_});
            }
        // Each place once.
        std::vector<bool> seen(static_cast<std::size_t>(config_.engine.cylinders), false);
        for (Firing& firing : firing_) {
            firing.own = firing.own && !seen[firing.place];
            if (firing.own) seen[firing.place] = true;
        }
    }

    void usual_cycle(const std::vector<std::size_t>& chosen) {
        usual_.assign(profiles_.begin_deg.size(), 0.0);
        for (const std::size_t i : chosen)
            for (std::size_t j = 0; j < usual_.size(); ++j)
                usual_[j] += profiles_.cycles[i].interval[j] / static_cast<double>(chosen.size());
        for (std::size_t j = 0; j < usual_.size(); ++j) energy_ += usual_[j] / static_cast<double>(usual_.size());
    }

    void prepare() {
        const auto rows = static_cast<Eigen::Index>(begin_deg_.size());
        const auto columns = static_cast<Eigen::Index>(firing_.size()) + 2;
        design_ = Eigen::MatrixXd::Zero(rows, columns);
        Eigen::VectorXd sum = Eigen::VectorXd::Zero(columns);
        const std::size_t all = profiles_.begin_deg.size();
        for (Eigen::Index r = 0; r < rows; ++r) {
            const auto at = static_cast<std::size_t>(r);
            design_(r, 0) = 1.0;
            design_.row(r).tail(columns - 1) = sum.tail(columns - 1);
            const double width = profiles_.width_deg[at % all];
            const double weight = to_rad(width) / (2.0 * usual_[at % all]);
            sum[1] += weight;
            for (std::size_t f = 0; f < firing_.size(); ++f)
                sum[static_cast<Eigen::Index>(f) + 2] +=
                    weight * done_.at(begin_deg_[at] + 0.5 * width - firing_[f].tdc_deg);
        }
        inverse_ = (design_.transpose() * design_).inverse();
        solve_ = inverse_ * design_.transpose();
    }

    /// Lead of each tooth before the usual cycle of the same mean speed, rad.
    [[nodiscard]] Eigen::VectorXd lags(std::size_t i) const {
        Eigen::VectorXd lag(static_cast<Eigen::Index>(begin_deg_.size()));
        const std::size_t all = profiles_.begin_deg.size();
        double sum = 0.0;
        for (std::size_t r = 0; r < begin_deg_.size(); ++r) {
            lag[static_cast<Eigen::Index>(r)] = sum;
            const CycleProfile& cycle = profiles_.cycles[i + r / all];
            // Tooth errors go with energy, work does not: the level of this cycle takes the difference.
            const double off = cycle.interval[r % all] - usual_[r % all];
            sum += to_rad(profiles_.width_deg[r % all]) * off / (2.0 * usual_[r % all]);
        }
        return lag;
    }

    const Config& config_;
    const CycleProfiles& profiles_;
    double cycle_deg_;
    WorkDone done_;
    std::vector<double> begin_deg_;
    std::vector<Firing> firing_;
    std::vector<double> usual_;
    double energy_ = 0.0;
    Eigen::MatrixXd design_;
    Eigen::MatrixXd inverse_;
    Eigen::MatrixXd solve_;
};

}  // namespace

WorkScatter scatter_of_work(const Config& config, const CycleProfiles& profiles) {
    return Scatterer(config, profiles).run();
}

}  // namespace kurbel
