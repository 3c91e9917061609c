// kurbel_detection: how often misfires are missed and healthy firings accused, cell by cell, on engines drawn by seed.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <exception>
#include <fstream>
#include <iostream>
#include <mutex>
#include <regex>
#include <string>
#include <thread>
#include <vector>

#include "cell.hpp"
#include "kurbel/core/version.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/read/output_folder.hpp"
#include "outcome.hpp"
#include "table.hpp"

namespace {

using namespace kurbel_detection;

struct Options {
    std::string cells = ".";
    bool list = false;
    bool quiet = false;
    bool check = false;
    unsigned jobs = 1;
    std::string out;
    RunOptions run{};
};

std::vector<const Cell*> chosen_cells(const std::string& pattern) {
    const std::regex wanted(pattern);
    std::vector<const Cell*> cells;
    for (const Cell& cell : all_cells())
        if (std::regex_search(cell.name, wanted)) cells.push_back(&cell);
    return cells;
}

/// Runs all cells, several at a time. The result does not depend on the number of jobs.
std::vector<Outcome> run_all(const std::vector<const Cell*>& cells, const Options& options) {
    std::vector<Outcome> outcomes(cells.size());
    std::atomic<std::size_t> next{0};
    std::size_t done = 0;
    std::mutex mutex;
    const auto work = [&] {
        for (std::size_t i = next++; i < cells.size(); i = next++) {
            outcomes[i] = run(*cells[i], options.run);
            const std::lock_guard lock(mutex);
            ++done;
            if (!options.quiet)
                std::cerr << done << "/" << cells.size() << " " << progress_line(outcomes[i]) << std::endl;
        }
    };
    std::vector<std::thread> threads;
    for (unsigned i = 0; i < options.jobs; ++i) threads.emplace_back(work);
    for (std::thread& thread : threads) thread.join();
    return outcomes;
}

const kurbel::read::FolderKind& table_folder_kind() {
    static const kurbel::read::FolderKind kind{"table", "cells.csv", {"cells.csv", "faults.csv", "table.md"}};
    return kind;
}

void write(const kurbel::read::OutputFolder& folder, const char* file, const std::string& text) {
    std::ofstream out(folder.path() / file, std::ios::binary);
    out << text;
    if (!out.flush()) throw std::runtime_error((folder.path() / file).string() + ": cannot be written");
}

int print_table(const Options& options) {
    const std::vector<const Cell*> cells = chosen_cells(options.cells);
    if (cells.empty()) {
        std::cerr << "no cell is called like " << options.cells << "; --list shows their names\n";
        return 2;
    }
    if (options.list) {
        for (const Cell* cell : cells)
            std::cout << cell->name << "  (" << name(cell->kind) << ", " << cell->file << ")\n";
        return 0;
    }
    if (!options.out.empty()) kurbel::read::check_output_folder(options.out, table_folder_kind());
    const std::vector<Outcome> outcomes = run_all(cells, options);
    const std::string table = "Seed " + std::to_string(options.run.seed) +
                              ", kurbel " KURBEL_VERSION_STRING ", false_alarm " +
                              std::to_string(options.run.settings.false_alarm) + ".\n\n" + markdown(outcomes);
    std::cout << table;
    if (!options.out.empty()) {
        kurbel::read::OutputFolder folder(options.out, table_folder_kind());
        write(folder, "table.md", table);
        write(folder, "faults.csv", faults_csv(outcomes));
        write(folder, "cells.csv", cells_csv(outcomes));
        folder.commit();
    }
    const auto failed = [](const Outcome& o) { return o.cell->kind != Kind::beyond && !shortfall(o).empty(); };
    return options.check && std::any_of(outcomes.begin(), outcomes.end(), failed) ? 1 : 0;
}

}  // namespace

int main(int argc, char** argv) {
    Options options;
    options.run.datasets = KURBEL_DATASETS;
    CLI::App app{
        "Misses and false alarms on simulated engines drawn by seed, beside published methods and a trained observer."};
    app.add_option("--seed", options.run.seed, "Which engines are drawn")->capture_default_str();
    app.add_option("--cells", options.cells, "Only cells whose name matches this regular expression");
    app.add_flag("--list", options.list, "Name the cells and leave");
    app.add_option("--misfires", options.run.amount.misfires, "At least so many misfires a cell")
        ->check(CLI::Range(1, 1000000))
        ->capture_default_str();
    app.add_option("--healthy", options.run.amount.healthy, "At least so many judged healthy firings a cell")
        ->check(CLI::Range(1, 100000000))
        ->capture_default_str();
    app.add_option("--engines", options.run.amount.engines, "At least so many engines a cell")
        ->check(CLI::Range(1, 1000))
        ->capture_default_str();
    app.add_option("--longest", options.run.amount.longest_s, "Seconds of the longest recording")
        ->check(CLI::Range(10.0, 100000.0))
        ->capture_default_str();
    app.add_option("--jobs", options.jobs, "Cells at a time")->check(CLI::Range(1, 64))->capture_default_str();
    app.add_option("--false-alarm", options.run.settings.false_alarm, "The detector's accepted chance of a false alarm")
        ->check(CLI::Range(1e-9, 0.1))
        ->capture_default_str();
    app.add_flag("!--no-rivals", options.run.rivals, "Only the detector itself: no baselines, no observer");
    app.add_option("--out", options.out,
                   "Also write table.md, cells.csv and faults.csv (each miss and false alarm) here");
    app.add_flag("--quiet", options.quiet, "No line a cell while they run");
    app.add_flag("--check", options.check, "Exit status 1 where a cell does not meet what is promised of it");
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        return app.exit(error) == 0 ? 0 : 2;
    }
    try {
        return print_table(options);
    } catch (const std::regex_error&) {
        std::cerr << "--cells: " << options.cells << " is no regular expression\n";
        return 2;
    } catch (const std::exception& error) {
        std::cerr << error.what() << "\n";
        return 3;
    }
}
