// Work per cylinder measured: engines that run evenly, with the spread of sound ones, with one weak cylinder, or misfiring.
#pragma once

#include <cstdio>
#include <map>

#include "engines.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "kurbel/study/work.hpp"
#include "swap_table.hpp"

namespace kurbel_studies {

/// What the cylinders of one run really did.
struct TrueWork {
    std::map<int, double> mean;
    std::map<int, double> scatter;  ///< standard deviation over mean, percent, misfires left out
    double all = 0.0;

    explicit TrueWork(const kurbel::read::Recording& recording) {
        std::map<int, double> count;
        std::map<int, double> fired;
        std::map<int, double> sum;
        std::map<int, double> square;
        for (const kurbel::read::TruthRow& row : recording.truth) {
            mean[row.cylinder] += row.work_j;
            ++count[row.cylinder];
            if (row.severity > 0.0) continue;
            sum[row.cylinder] += row.work_j;
            square[row.cylinder] += row.work_j * row.work_j;
            ++fired[row.cylinder];
        }
        for (auto& [cylinder, value] : mean) {
            all += value /= count[cylinder];
            const double middle = sum[cylinder] / fired[cylinder];
            scatter[cylinder] =
                100.0 * std::sqrt(std::max(square[cylinder] / fired[cylinder] - middle * middle, 0.0)) / middle;
        }
    }
    /// Beyond the mean of the others, percent of that.
    [[nodiscard]] double percent(int cylinder) const {
        const double own = mean.at(cylinder);
        return 100.0 * (own * (static_cast<double>(mean.size()) - 1.0) / (all - own) - 1.0);
    }
    [[nodiscard]] double to_partner(int cylinder, int partner) const {
        return 100.0 * (mean.at(cylinder) - mean.at(partner)) * static_cast<double>(mean.size()) / all;
    }
};

enum class Running { idle, road, varied };
enum class Balance { even, sound, weak_5, weak_20, misfiring };
inline constexpr std::array<const char*, 3> kRunning{"idle", "steady road", "varied road"};
inline constexpr std::array<const char*, 5> kBalance{"even", "sound", "one 5 % weak", "one 10 to 40 % weak",
                                                     "misfiring"};

struct Worked {
    Scenario scenario;
    std::string engine;
    Running running = Running::idle;
    Balance balance = Balance::even;
    int weak = 0;
};

inline Worked draw_worked(const std::string& datasets, const std::string& engine, Running running, Balance balance,
                          double seconds, std::uint64_t seed) {
    using namespace kurbel;
    Random random(seed);
    Worked drawn{draw_machine(datasets, engine, random, seed), engine, running, balance};
    Scenario& s = drawn.scenario;
    s.seconds = seconds;
    s.misfires.clear();
    s.combustion.scatter = random.uniform(0.015, 0.04);
    s.combustion.scatter_low_load = random.uniform(0.04, 0.1);
    s.combustion.ca50_deg = random.uniform(6.0, 14.0);
    if (running == Running::idle) {
        s.operation.mode = simulate::Operation::neutral;
        s.operation.speed_rpm = simulate::Profile(random.uniform(650.0, 900.0));
    } else {
        s.operation.mode = simulate::Operation::hold;
        const double rpm = random.uniform(1300.0, 2400.0);
        const double load = random.uniform(0.3, 0.5);
        s.operation.load = simulate::Profile(load);
        s.operation.speed_rpm = simulate::Profile(rpm);
        if (running == Running::varied) {
            s.operation.load = simulate::Profile(
                {{0.0, load}, {0.3 * seconds, load + 0.25}, {0.6 * seconds, load - 0.05}, {seconds, load + 0.15}});
            s.operation.speed_rpm = simulate::Profile(
                {{0.0, rpm}, {0.25 * seconds, rpm + 500.0}, {0.7 * seconds, rpm - 150.0}, {seconds, rpm + 300.0}});
        }
    }
    const int z = s.engine.cylinders;
    std::vector<double>& factor = s.combustion.cylinder_factor;
    factor.assign(static_cast<std::size_t>(z), 1.0);
    drawn.weak = 1 + random.below(z);
    double& weak = factor[static_cast<std::size_t>(drawn.weak - 1)];
    switch (balance) {
        case Balance::even: drawn.weak = 0; break;
        case Balance::sound:
            for (double& value : factor) value += 0.02 * random.normal();
            drawn.weak = 0;
            break;
        case Balance::weak_5: weak = 0.95; break;
        case Balance::weak_20: weak = random.uniform(0.6, 0.9); break;
        case Balance::misfiring: {
            simulate::MisfireRule rule;
            rule.cylinders = {drawn.weak};
            rule.rate = random.log_uniform(0.02, 0.3);
            s.misfires = {rule};
        }
    }
    return drawn;
}

struct WorkFigures {
    Misses others;
    Misses long_run;  ///< against the others, as the heats drawn make it in the long run; where nothing misfires
    Misses partner;
    Misses alike;  ///< partners burning the same heat: in the long run they differ by nothing
    Misses joules;
    Misses scatter;
    int runs = 0;
    int refused = 0;
    int weak = 0;
    int found = 0;
    int undecided = 0;
    int sound = 0;    ///< cylinders within the limit
    int accused = 0;  ///< of those
    double width = 0.0;
};

class WorkTable {
  public:
    WorkTable(std::string datasets, double seconds, bool each)
        : datasets_(std::move(datasets)), seconds_(seconds), each_(each) {}

    void run(int tests, std::uint64_t seed) {
        for (int i = 0; i < tests; ++i)
            for (std::size_t e = 0; e < kEngines.size(); ++e) {
                const auto number = static_cast<std::uint64_t>(i) * kEngines.size() + e;
                // Every second one idles with one weak cylinder, which is what is promised; the others take turns.
                const bool promised = (number + static_cast<std::uint64_t>(i)) % 2 == 0;
                const auto turn = (number / 2 + static_cast<std::uint64_t>(i)) % 15;
                const auto running = promised ? Running::idle : static_cast<Running>(turn % 3);
                const auto balance = promised ? Balance::weak_5 : static_cast<Balance>(turn / 3);
                one(draw_worked(datasets_, kEngines[e], running, balance, seconds_, seed * 100003 + number));
            }
    }

    /// One drawn engine.
    void one(const Worked& drawn) {
        using namespace kurbel;
        const read::Recording recording = simulate::simulate(drawn.scenario);
        const std::string running = kRunning[static_cast<std::size_t>(drawn.running)];
        const std::array<std::string, 4> rows{"all", drawn.engine, running,
                                              running + ", " + kBalance[static_cast<std::size_t>(drawn.balance)]};
        WorkBalance result;
        bool refused = false;
        try {
            result = measure_work(recording, "drawn");
        } catch (const read::InputError& error) {
            refused = true;
            if (each_) std::printf("%s refused: %s\n", drawn.engine.c_str(), error.what());
        }
        for (const std::string& row : rows) {
            WorkFigures& f = figures_[row];
            ++f.runs;
            if (refused) {
                ++f.refused;
                continue;
            }
            count(drawn, recording, result, f);
        }
        if (each_ && !refused) tell(drawn, recording, result);
    }

    void print() const {
        std::printf(
            "| engines | runs | refused | undecided | weak found | sound ones accused | against the others: within "
            "95 %% | rms, %% | half width | the same, in the long run | rms, %% | against the partner | rms, %% | "
            "partners alike, in the long run | rms, %% "
            "| joules | rms, %% | scatter | rms, points |\n"
            "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|\n");
        for (const auto& [name, f] : figures_)
            std::printf(
                "| %s | %d | %d | %d | %d of %d | %d of %d | %s | %.2f | %.2f | %s | %.2f | %s | %.2f | %s | %.2f | %s "
                "| %.1f | %s "
                "| %.2f |\n",
                name.c_str(), f.runs, f.refused, f.undecided, f.found, f.weak, f.accused, f.sound,
                share(f.others).c_str(), f.others.rms(), f.width / std::max(f.others.readings, 1),
                share(f.long_run).c_str(), f.long_run.rms(), share(f.partner).c_str(), f.partner.rms(),
                share(f.alike).c_str(), f.alike.rms(), share(f.joules).c_str(), f.joules.rms(),
                share(f.scatter).c_str(), f.scatter.rms());
    }

    [[nodiscard]] const WorkFigures& row(const std::string& name) const { return figures_.at(name); }

  private:
    static std::string share(const Misses& misses) {
        return misses.readings > 0 ? share_text(misses.inside, misses.readings) : "-";
    }

    /// Work goes with heat; percent beyond the mean of the others.
    static double in_the_long_run(const Worked& drawn, int cylinder) {
        const std::vector<double>& heat = drawn.scenario.combustion.cylinder_factor;
        double all = 0.0;
        for (const double one : heat) all += one;
        const double own = heat[static_cast<std::size_t>(cylinder - 1)];
        return 100.0 * (own * (static_cast<double>(heat.size()) - 1.0) / (all - own) - 1.0);
    }

    static void count(const Worked& drawn, const kurbel::read::Recording& recording, const kurbel::WorkBalance& result,
                      WorkFigures& f) {
        const TrueWork truth(recording);
        f.undecided += result.verdict == "undecided" ? 1 : 0;
        for (const kurbel::CylinderWork& row : result.cylinders) {
            if (row.cylinder == 0) continue;
            const double percent = truth.percent(row.cylinder);
            f.others.add(row.percent, percent, row.low, row.high);
            f.width += 0.5 * (row.high - row.low);
            if (drawn.balance != Balance::misfiring)
                f.long_run.add(row.percent, in_the_long_run(drawn, row.cylinder), row.low, row.high);
            if (row.partner > 0)
                f.partner.add(row.to_partner_percent, truth.to_partner(row.cylinder, row.partner), row.to_partner_low,
                              row.to_partner_high);
            const auto& factor = drawn.scenario.combustion.cylinder_factor;
            if (row.partner > row.cylinder && row.partner != drawn.weak && row.cylinder != drawn.weak &&
                factor[static_cast<std::size_t>(row.partner - 1)] == factor[static_cast<std::size_t>(row.cylinder - 1)])
                f.alike.add(row.to_partner_percent, 0.0, row.to_partner_low, row.to_partner_high);
            const double joules = truth.mean.at(row.cylinder);
            f.joules.add(100.0 * row.work_j / joules, 100.0, 100.0 * row.work_low_j / joules,
                         100.0 * row.work_high_j / joules);
            if (drawn.running != Running::varied && std::isfinite(row.scatter_percent))
                f.scatter.add(row.scatter_percent, truth.scatter.at(row.cylinder), row.scatter_low, row.scatter_high);
            if (row.cylinder == drawn.weak) {
                ++f.weak;
                f.found += row.differs ? 1 : 0;
            } else if (std::fabs(percent) <= 2.0 + 1e-9) {
                ++f.sound;
                f.accused += row.differs ? 1 : 0;
            }
        }
    }

    static void tell(const Worked& drawn, const kurbel::read::Recording& recording, const kurbel::WorkBalance& result) {
        const TrueWork truth(recording);
        std::printf("%-13s %-11s %-19s %4.0f rpm load %.2f pitch %.2f misfit %.2f:", drawn.engine.c_str(),
                    kRunning[static_cast<std::size_t>(drawn.running)],
                    kBalance[static_cast<std::size_t>(drawn.balance)], result.mean_rpm, result.mean_load,
                    drawn.scenario.wheel_error.pitch_deg, result.misfit);
        for (const kurbel::CylinderWork& row : result.cylinders) {
            const double percent = truth.percent(row.cylinder);
            std::printf(" %.1f/%.1f(%.1f)%s%s", row.percent, percent, 0.5 * (row.high - row.low),
                        percent >= row.low && percent <= row.high ? "" : "!", row.differs ? "D" : "");
            if (row.partner > 0)
                std::printf("[%.1f/%.1f(%.1f)]", row.to_partner_percent, truth.to_partner(row.cylinder, row.partner),
                            0.5 * (row.to_partner_high - row.to_partner_low));
            std::printf(" s%.1f/%.1f", row.scatter_percent, truth.scatter.at(row.cylinder));
        }
        std::printf(" size %.2f J %.1f/%.1f\n", result.size_doubt, result.mean_work_j,
                    truth.all / static_cast<double>(truth.mean.size()));
        std::fflush(stdout);
    }

    std::string datasets_;
    double seconds_;
    bool each_;
    std::map<std::string, WorkFigures> figures_;
};

}  // namespace kurbel_studies
