#include "kurbel/study/work.hpp"

#include <algorithm>
#include <cmath>

#include "kurbel/read/input_error.hpp"
#include "kurbel/stage/half_turn.hpp"
#include "study/work_orders.hpp"
#include "study/work_scatter.hpp"

namespace kurbel {

namespace {

constexpr int kFewestCycles = 40;
constexpr double kCranking_rpm = 400.0;
constexpr double kNormal95 = 1.959964;
/// A difference of this size, percent, has to be visible before cylinders are called even.
constexpr double kWouldShow = 10.0;

/// Two-sided normal quantile for 95 % over `comparisons` of them (Bonferroni), by bisection of erfc.
double simultaneous(int comparisons) {
    double low = 0.0;
    double high = 10.0;
    for (int i = 0; i < 80; ++i) {
        const double middle = 0.5 * (low + high);
        (std::erfc(middle / std::sqrt(2.0)) > 0.05 / comparisons ? low : high) = middle;
    }
    return low;
}

struct Difference {
    double value = 0.0;
    double error = 0.0;
    double alone = 0.0;  ///< error without the doubt of the mean's size
};

/// A contrast of cylinders, percent of the mean work, with the doubt of that mean.
Difference contrast(const WorkShares& shares, const Eigen::VectorXd& weight) {
    const double value = weight.dot(shares.deviation) / shares.mean;
    const double error = std::sqrt(weight.dot(shares.covariance * weight)) / shares.mean;
    return {100.0 * value, 100.0 * std::hypot(error, value * shares.mean_doubt), 100.0 * error};
}

class Balancer {
  public:
    Balancer(const Config& config, const CycleProfiles& profiles, const WorkOptions& options)
        : config_(config),
          profiles_(profiles),
          options_(options),
          z_(config.engine.cylinders),
          shares_(share_work(config, profiles)),
          scatter_(scatter_of_work(config, profiles)) {}

    WorkBalance run() {
        WorkBalance balance;
        balance.phase_known = profiles_.phase_known || config_.engine.strokes == 2;
        balance.wheel_decides = shares_.wheel_matters;
        balance.cycles = shares_.cycles;
        balance.misfit = shares_.misfit;
        balance.size_doubt = shares_.mean_doubt;
        balance.scatter_cycles = scatter_.cycles;
        describe_running(balance);
        if (sized()) balance.mean_work_j = inertia() * shares_.mean;
        // Each against the others, and each pair a revolution apart.
        int pairs = 0;
        for (int k = 0; k < z_; ++k) pairs += partner_under_360(config_.engine, k) > k ? 1 : 0;
        const double sure = simultaneous(z_ + pairs);
        find_different(sure);
        bool would_show = true;
        bool any = false;
        for (int k = 0; k < z_; ++k) {
            balance.cylinders.push_back(cylinder(k, balance.phase_known, sure, would_show));
            any = any || balance.cylinders.back().differs;
        }
        if (balance.cylinders.front().cylinder > 0) sort(balance);
        balance.verdict = any ? "uneven" : would_show ? "even" : "undecided";
        return balance;
    }

  private:
    /// The one that stands out most is found first, and is no measure for the others any more: beside one that is weak, all look strong.
    void find_different(double sure) {
        different_.assign(static_cast<std::size_t>(z_), false);
        for (int alike = z_; alike > 2; --alike) {
            int most = -1;
            double farthest = 0.0;
            for (int k = 0; k < z_; ++k) {
                if (different_[static_cast<std::size_t>(k)]) continue;
                Eigen::VectorXd weight(z_);
                for (int j = 0; j < z_; ++j)
                    weight[j] = different_[static_cast<std::size_t>(j)] ? 0.0 : -1.0 / (alike - 1);
                weight[k] = 1.0;
                const Difference others = contrast(shares_, weight);
                const double far = std::fabs(others.value) / others.alone;
                if (!beyond(others, sure) || far < farthest) continue;
                most = k;
                farthest = far;
            }
            if (most < 0) return;
            different_[static_cast<std::size_t>(most)] = true;
        }
    }

    [[nodiscard]] double inertia() const { return config_.engine.inertia_kg_m2; }
    [[nodiscard]] bool sized() const {
        return config_.engine.bore_mm > 0.0 && config_.engine.stroke_mm > 0.0 && inertia() > 0.0;
    }

    static void sort(WorkBalance& balance) {
        std::sort(balance.cylinders.begin(), balance.cylinders.end(),
                  [](const auto& a, const auto& b) { return a.cylinder < b.cylinder; });
    }

    void describe_running(WorkBalance& balance) const {
        double seconds = 0.0;
        double load = 0.0;
        double loads = 0.0;
        for (const CycleProfile& cycle : profiles_.cycles) {
            seconds += cycle.seconds;
            if (cycle.load == cycle.load) {
                load += cycle.load;
                loads += 1.0;
            }
        }
        const double turns = static_cast<double>(profiles_.cycles.size()) * config_.engine.cycle_deg() / 360.0;
        balance.mean_rpm = 60.0 * turns / seconds;
        if (loads > 0.0) balance.mean_load = load / loads;
    }

    CylinderWork cylinder(int k, bool phase_known, double sure, bool& would_show) const {
        CylinderWork row;
        const EngineConfig& engine = config_.engine;
        const int own = engine.firing_order[static_cast<std::size_t>(k)];
        const int partner = partner_under_360(engine, k);
        const int other = partner < 0 ? 0 : engine.firing_order[static_cast<std::size_t>(partner)];
        if (phase_known || partner < 0)
            row.cylinder = own;
        else
            row.candidates = {std::min(own, other), std::max(own, other)};
        Eigen::VectorXd weight = Eigen::VectorXd::Constant(z_, -1.0 / (z_ - 1));
        weight[k] = 1.0;
        const Difference others = contrast(shares_, weight);
        row.percent = others.value;
        row.low = others.value - kNormal95 * others.error;
        row.high = others.value + kNormal95 * others.error;
        row.differs = different_[static_cast<std::size_t>(k)];
        would_show = would_show && sure * others.error < kWouldShow;
        if (partner >= 0) {
            weight.setZero();
            weight[k] = 1.0;
            weight[partner] = -1.0;
            const Difference pair = contrast(shares_, weight);
            row.partner = other;
            row.to_partner_percent = pair.value;
            row.to_partner_low = pair.value - kNormal95 * pair.error;
            row.to_partner_high = pair.value + kNormal95 * pair.error;
            // Of two that differ, the weak one is told; a strong one is rare.
            row.differs = row.differs || (pair.value < 0.0 && beyond(pair, sure));
        }
        const double work = shares_.mean + shares_.deviation[k];
        if (sized()) {
            const double error = std::hypot(std::sqrt(shares_.covariance(k, k)), shares_.mean_doubt * work);
            row.work_j = inertia() * work;
            row.work_low_j = inertia() * (work - kNormal95 * error);
            row.work_high_j = inertia() * (work + kNormal95 * error);
        }
        if (scatter_.cycles > 0 && work > 0.2 * shares_.mean) add_scatter(k, work, row);
        double misfires = 0.0;
        for (const CycleProfile& cycle : profiles_.cycles) misfires += (cycle.misfires >> k) & 1U;
        row.misfire_rate = misfires / static_cast<double>(profiles_.cycles.size());
        return row;
    }

    /// Beyond the limit with 95 % certainty, as its range shows it; and with all comparisons in view certainly no accident.
    [[nodiscard]] bool beyond(const Difference& difference, double sure) const {
        // A mean of another size moves the limit, it makes no difference out of nothing.
        const double error = std::hypot(difference.alone, options_.limit_percent * shares_.mean_doubt);
        const double size = std::fabs(difference.value);
        return size - kNormal95 * error > options_.limit_percent && size > sure * difference.alone;
    }

    void add_scatter(int k, double work, CylinderWork& row) const {
        const double variance = std::max(scatter_.variance[k], 0.0);
        const double error = kNormal95 * scatter_.variance_error[k];
        const double size = kNormal95 * shares_.mean_doubt;
        row.scatter_percent = 100.0 * std::sqrt(variance) / work;
        row.scatter_low = 100.0 * std::sqrt(std::max(variance - error, 0.0)) / work / (1.0 + size);
        row.scatter_high = 100.0 * std::sqrt(variance + error) / work / std::max(1.0 - size, 0.3);
    }

    const Config& config_;
    const CycleProfiles& profiles_;
    const WorkOptions& options_;
    int z_;
    WorkShares shares_;
    WorkScatter scatter_;
    std::vector<bool> different_;  ///< stand out from the others
};

}  // namespace

WorkBalance measure_work(const read::Recording& recording, const std::string& name, const WorkOptions& options) {
    if (!(options.limit_percent >= 0.5 && options.limit_percent <= 30.0))
        throw WrongQuestion("limit: must lie in 0.5 to 30 percent of a cylinder's work");
    if (recording.config.engine.cylinders < 2)
        throw read::InputError(name, 0, "work per cylinder compares cylinders, and this engine has one");
    const CycleProfiles profiles = collect_cycles(recording, name);
    double seconds = 0.0;
    int burning = 0;
    for (const CycleProfile& cycle : profiles.cycles) {
        seconds += cycle.seconds;
        burning += cycle.cut ? 0 : 1;
    }
    const std::string record = "; record at least a minute of the engine running, at idle or at a steady speed";
    const double turns = static_cast<double>(profiles.cycles.size()) * recording.config.engine.cycle_deg() / 360.0;
    // What is wrong comes before what is missing: cranking makes few cycles, too.
    if (turns > 0.0 && 60.0 * turns < kCranking_rpm * seconds)
        throw read::InputError(name, 0,
                               "the starter turns this engine, it does not run; compressions are compared by "
                               "kurbel cranking" +
                                   record);
    if (burning < kFewestCycles)
        throw read::InputError(
            name, 0,
            "only " + std::to_string(burning) + " whole engine cycles with fuel, at least 40 are needed" + record);
    return Balancer(recording.config, profiles, options).run();
}

}  // namespace kurbel
