// kurbel_detection: how often misfires are missed and healthy firings accused, cell by cell, on engines drawn by seed.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <exception>
#include <fstream>
#include <iostream>
#include <mutex>
#include <regex>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

#include "ablation.hpp"
#include "cell.hpp"
#include "coverage.hpp"
#include "kurbel/core/version.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/read/output_folder.hpp"
#include "outcome.hpp"
#include "picture.hpp"
#include "published.hpp"
#include "table.hpp"

namespace {

using namespace kurbel_detection;

struct Options {
    std::string cells = ".";
    bool list = false;
    bool quiet = false;
    bool check = false;
    bool ablation = false;
    int coverage = 0;
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
template <class Result, class Work, class Tell>
std::vector<Result> run_all(const std::vector<const Cell*>& cells, const Options& options, Work&& run_one,
                            Tell&& tell) {
    std::vector<Result> results(cells.size());
    std::atomic<std::size_t> next{0};
    std::size_t done = 0;
    std::mutex mutex;
    const auto work = [&] {
        for (std::size_t i = next++; i < cells.size(); i = next++) {
            results[i] = run_one(*cells[i]);
            const std::lock_guard lock(mutex);
            ++done;
            if (!options.quiet) std::cerr << done << "/" << cells.size() << " " << tell(results[i]) << std::endl;
        }
    };
    std::vector<std::thread> threads;
    for (unsigned i = 0; i < options.jobs; ++i) threads.emplace_back(work);
    for (std::thread& thread : threads) thread.join();
    return results;
}

/// All that may stand in a folder of this program; which of it does, depends on what was asked.
const kurbel::read::FolderKind& folder_kind() {
    static const kurbel::read::FolderKind kind{
        "detection table",
        "figures.md",
        {"figures.md", "cells.csv", "faults.csv", "cells.svg", "reliability.csv", "reliability.svg", "ablation.csv"}};
    return kind;
}

struct File {
    const char* name;
    std::string text;
};

void write_all(const std::string& target, const std::vector<File>& files) {
    kurbel::read::OutputFolder folder(target, folder_kind());
    for (const File& file : files) {
        std::ofstream out(folder.path() / file.name, std::ios::binary);
        out << file.text;
        if (!out.flush()) throw std::runtime_error((folder.path() / file.name).string() + ": cannot be written");
    }
    folder.commit();
}

std::string heading(const Options& options) {
    std::ostringstream text;
    text << "Seed " << options.run.seed << ", kurbel " << KURBEL_VERSION_STRING << ", accepted chance of a false alarm "
         << options.run.settings.false_alarm << ".\n\n";
    return text.str();
}

int show_table(const std::vector<const Cell*>& cells, const Options& options) {
    const auto outcomes = run_all<Outcome>(
        cells, options, [&](const Cell& cell) { return run(cell, options.run); }, progress_line);
    Reliability reliability;
    Reliability steady;
    for (const Outcome& o : outcomes) {
        if (o.cell->kind != Kind::beyond) reliability.add(o.reliability);
        if (o.cell->kind == Kind::steady) steady.add(o.reliability);
    }
    const std::string text = heading(options) + markdown(outcomes) + "\n## Beside published figures\n\n" +
                             published_markdown(outcomes) + "\n## Whether the probability means what it says\n\n" +
                             reliability_markdown(reliability) + "\nSteady cells alone:\n\n" +
                             reliability_markdown(steady);
    std::cout << text;
    const std::string title = "Seed " + std::to_string(options.run.seed);
    if (!options.out.empty())
        write_all(options.out,
                  {{"cells.csv", cells_csv(outcomes)},
                   {"faults.csv", faults_csv(outcomes)},
                   {"cells.svg", cells_picture(outcomes, title + ": misses and false alarms, cell by cell")},
                   {"reliability.csv", reliability_csv(reliability)},
                   {"reliability.svg", reliability_picture(reliability, title + ": probability told and found")},
                   {"figures.md", text}});
    const auto failed = [](const Outcome& o) { return o.cell->kind != Kind::beyond && !shortfall(o).empty(); };
    return options.check && std::any_of(outcomes.begin(), outcomes.end(), failed) ? 1 : 0;
}

int show_ablation(const std::vector<const Cell*>& cells, const Options& options) {
    const std::vector<Variant> list = variants(options.run.settings);
    const auto outcomes = run_all<std::vector<Outcome>>(
        cells, options, [&](const Cell& cell) { return ablate(cell, options.run, list); },
        [](const std::vector<Outcome>& of_cell) { return progress_line(of_cell.front()); });
    const std::string text = heading(options) + ablation_markdown(list, outcomes);
    std::cout << text;
    if (!options.out.empty())
        write_all(options.out, {{"ablation.csv", ablation_csv(list, outcomes)}, {"figures.md", text}});
    return 0;
}

int show_coverage(const Options& options) {
    const std::string text = heading(options) + coverage_markdown(cover(options.coverage, options.run, options.jobs));
    std::cout << text;
    if (!options.out.empty()) write_all(options.out, {{"figures.md", text}});
    return 0;
}

int run_program(const Options& options) {
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
    if (!options.out.empty()) kurbel::read::check_output_folder(options.out, folder_kind());
    if (options.coverage > 0) return show_coverage(options);
    return options.ablation ? show_ablation(cells, options) : show_table(cells, options);
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
                   "Also write the figures here, with each miss and false alarm and with pictures");
    auto* ablation =
        app.add_flag("--ablation", options.ablation, "What each part buys: the cells with parts and inputs left out");
    app.add_option("--coverage", options.coverage,
                   "How often a cylinder's rate interval covers: so many recordings a rate")
        ->check(CLI::Range(1, 100000))
        ->excludes(ablation);
    app.add_flag("--quiet", options.quiet, "No line a cell while they run");
    app.add_flag("--check", options.check, "Exit status 1 where a cell does not meet what is promised of it");
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        return app.exit(error) == 0 ? 0 : 2;
    }
    try {
        return run_program(options);
    } catch (const std::regex_error&) {
        std::cerr << "--cells: " << options.cells << " is no regular expression\n";
        return 2;
    } catch (const std::exception& error) {
        std::cerr << error.what() << "\n";
        return 3;
    }
}
