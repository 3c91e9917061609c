// kurbel_detection: how often misfires are missed and healthy firings accused, cell by cell, on engines drawn by seed.
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <exception>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <mutex>
#include <regex>
#include <string>
#include <thread>
#include <vector>

#include "cell.hpp"
#include "draw.hpp"
#include "kurbel/core/version.hpp"
#include "outcome.hpp"
#include "scenario_text.hpp"
#include "table.hpp"

namespace {

using namespace kurbel_detection;

struct Options {
    std::uint64_t seed = 20260;
    std::string cells = ".*";
    double misfires = 600.0;
    double healthy = 1e4;
    unsigned threads = 2;
    std::string scenarios;
    bool check = false;
};

std::vector<Cell> chosen_cells(const std::string& pattern) {
    const std::regex wanted(pattern);
    std::vector<Cell> cells;
    for (const Cell& cell : all_cells())
        if (std::regex_search(name(cell), wanted)) cells.push_back(cell);
    return cells;
}

kurbel::simulate::Scenario scenario_of(const Cell& cell, const Options& options) {
    return draw_scenario(cell, options.seed, firings_for(cell, options.misfires, options.healthy));
}

void write_scenarios(const std::vector<Cell>& cells, const Options& options) {
    std::filesystem::create_directories(options.scenarios);
    for (const Cell& cell : cells) {
        std::string file = name(cell);
        std::replace(file.begin(), file.end(), ' ', '-');
        std::ofstream out(std::filesystem::path(options.scenarios) / (file + ".toml"));
        out << "# " << name(cell) << ", draw " << options.seed << " of the detection table\n"
            << scenario_text(scenario_of(cell, options));
        if (!out.flush()) throw std::runtime_error(options.scenarios + ": cannot be written");
    }
}

/// Runs all cells, several at a time. The result does not depend on the number of threads.
std::vector<Outcome> run_all(const std::vector<Cell>& cells, const Options& options) {
    std::vector<Outcome> outcomes(cells.size());
    std::atomic<std::size_t> next{0};
    std::size_t done = 0;
    std::exception_ptr failure;
    std::mutex mutex;
    const bool show = isatty(STDERR_FILENO) == 1;
    const auto work = [&] {
        for (std::size_t i = next++; i < cells.size(); i = next++) {
            try {
                outcomes[i] = run(cells[i], scenario_of(cells[i], options));
            } catch (...) {
                const std::lock_guard lock(mutex);
                failure = std::current_exception();
                next = cells.size();
                return;
            }
            const std::lock_guard lock(mutex);
            ++done;
            if (show) std::cerr << "\r" << done << " of " << cells.size() << " cells" << std::flush;
        }
    };
    std::vector<std::thread> threads;
    for (unsigned i = 0; i < options.threads; ++i) threads.emplace_back(work);
    for (std::thread& thread : threads) thread.join();
    if (show) std::cerr << "\r                         \r";
    if (failure) std::rethrow_exception(failure);
    return outcomes;
}

int print_table(const Options& options) {
    const std::vector<Cell> cells = chosen_cells(options.cells);
    if (cells.empty()) {
        std::cerr << "no cell is called like " << options.cells << "\n";
        return 2;
    }
    if (!options.scenarios.empty()) write_scenarios(cells, options);
    const std::vector<Outcome> outcomes = run_all(cells, options);
    std::cout << "Draw " << options.seed << ", kurbel " << KURBEL_VERSION_STRING << ", default settings.\n\n"
              << table_header();
    bool all_met = true;
    for (const Outcome& outcome : outcomes) {
        std::cout << table_row(outcome);
        all_met = all_met && meets_target(outcome);
    }
    std::cout << table_sum(outcomes);
    return options.check && !all_met ? 1 : 0;
}

}  // namespace

int main(int argc, char** argv) {
    Options options;
    CLI::App app{"Misses and false alarms on simulated engines drawn by seed, beside the published classic."};
    app.add_option("--seed", options.seed, "Which draw of engines")->capture_default_str();
    app.add_option("--cells", options.cells, "Only cells whose name matches this regular expression");
    app.add_option("--misfires", options.misfires, "At least so many misfires a cell")->capture_default_str();
    app.add_option("--healthy", options.healthy, "At least so many healthy firings a cell")->capture_default_str();
    app.add_option("--threads", options.threads)->check(CLI::Range(1, 64))->capture_default_str();
    app.add_option("--scenarios", options.scenarios, "Also write each cell as a scenario file into this folder");
    app.add_flag("--check", options.check, "Exit status 1 where a cell misses its target");
    CLI11_PARSE(app, argc, argv);
    try {
        return print_table(options);
    } catch (const std::exception& error) {
        std::cerr << error.what() << "\n";
        return 3;
    }
}
