// kurbel_pitch: learns the teeth of simulated wheels, drawn by seed, and says what is left against the truth.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <exception>
#include <iostream>
#include <string>
#include <vector>

#include "learned.hpp"

namespace {

using kurbel_pitch::Learned;

struct Options {
    std::uint64_t seed = 1;
    int wheels = 40;
    std::int64_t revolutions = 200;
    std::vector<std::string> conditions{"sweep", "fuel-cut", "steady", "idle", "pedal"};
    bool list = false;
    bool check = false;
};

double quantile(std::vector<double> values, double share) {
    if (values.empty()) return 0.0;
    std::sort(values.begin(), values.end());
    return values[static_cast<std::size_t>(share * static_cast<double>(values.size() - 1) + 0.5)];
}

void print_row(const std::string& name, const std::vector<Learned>& all) {
    std::vector<double> before, left, bound, se, chi;
    int fine = 0;
    int possible = 0;
    int worse = 0;
    int covered = 0;
    for (const Learned& one : all) {
        before.push_back(one.before_deg);
        left.push_back(one.left_deg);
        se.push_back(one.se_deg);
        chi.push_back(one.chi_square);
        possible += one.bound_deg <= 0.01 ? 1 : 0;
        bound.push_back(one.bound_deg);
        fine += one.left_deg <= 0.01 ? 1 : 0;
        worse += one.left_deg > one.before_deg + one.se_deg ? 1 : 0;
        covered += one.left_deg <= 2.0 * one.se_deg ? 1 : 0;
    }
    std::printf("| %s | %zu | %.4f | %.4f | %.4f | %.4f | %.4f | %.4f | %d | %d | %d | %d | %.2f |\n", name.c_str(),
                all.size(), quantile(before, 0.5), quantile(left, 0.5), quantile(left, 0.95), quantile(left, 1.0),
                quantile(bound, 0.5), quantile(se, 0.5), possible, fine, covered, worse, quantile(chi, 0.5));
    std::fflush(stdout);
}

/// What every wheel must hold: no worse than before by more than the stated error, and that error says what is left.
bool holds(const Learned& one) {
    return one.cycles > 0 && one.bound_deg > 0.0 && one.left_deg <= one.before_deg + one.se_deg &&
           one.left_deg <= 4.0 * one.se_deg;
}

int run(const Options& options) {
    bool all_hold = true;
    std::printf("Seed %llu, %lld revolutions, degrees rms.\n\n", static_cast<unsigned long long>(options.seed),
                static_cast<long long>(options.revolutions));
    std::printf(
        "| condition | wheels | error | left, median | left, 95 %% | left, worst | bound, median | stated, median | "
        "bound <= 0.01 | left <= 0.01 | left <= 2 stated | worse than uncorrected | chi^2 a tooth |\n"
        "|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|\n");
    for (const std::string& condition : options.conditions) {
        std::vector<Learned> all;
        for (int i = 0; i < options.wheels; ++i) {
            const std::uint64_t draw = options.seed * 1000 + static_cast<std::uint64_t>(i);
            all.push_back(kurbel_pitch::learn(std::string(KURBEL_PITCH_SCENARIOS) + "/" + condition + ".toml", draw,
                                              options.revolutions));
            const Learned& one = all.back();
            all_hold = all_hold && holds(one);
            if (options.list)
                std::printf(
                    "%s %llu: %s, %d teeth, %d cycles, error %.4f, left %.4f, bound %.4f, stated %.4f, chi^2 %.2f; "
                    "most left at orders %s\n",
                    condition.c_str(), static_cast<unsigned long long>(draw), one.engine.c_str(), one.teeth, one.cycles,
                    one.before_deg, one.left_deg, one.bound_deg, one.se_deg, one.chi_square, one.worst.c_str());
        }
        print_row(condition, all);
    }
    return options.check && !all_hold ? 1 : 0;
}

}  // namespace

int main(int argc, char** argv) {
    Options options;
    CLI::App app{"Learns the teeth of simulated wheels drawn by seed, and says what is left against the truth."};
    app.add_option("--seed", options.seed, "Which draw of wheels and engines")->capture_default_str();
    app.add_option("--wheels", options.wheels, "Wheels under each condition")->capture_default_str();
    app.add_option("--revolutions", options.revolutions, "Revolutions to learn from")->capture_default_str();
    app.add_option("--conditions", options.conditions, "Only these files of bench/pitch/scenarios")
        ->capture_default_str();
    app.add_flag("--list", options.list, "Also one line a wheel");
    app.add_flag("--check", options.check,
                 "Exit status 1 where a wheel is worse than uncorrected, or four times worse than stated");
    CLI11_PARSE(app, argc, argv);
    try {
        return run(options);
    } catch (const std::exception& error) {
        std::cerr << error.what() << "\n";
        return 3;
    }
}
