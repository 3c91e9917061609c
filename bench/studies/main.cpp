// kurbel_studies: what the studies are worth, measured on invented engines and faults. Prints Markdown.
#include <CLI/CLI.hpp>

#include "cranking_table.hpp"
#include "edges.hpp"
#include "verify_table.hpp"
#include "work_table.hpp"

int main(int argc, char** argv) {
    CLI::App app("Measures the studies on invented faults and prints Markdown", "kurbel_studies");
    app.require_subcommand(1);
    int tests = 2000;
    std::uint64_t seed = 1;
    int each = 20;
    double seconds = 60.0;
    std::string scenario = KURBEL_STUDIES_SCENARIO;
    CLI::App* swap = app.add_subcommand("swap", "Swap tests, event by event");
    swap->add_option("--tests", tests, "Tests of each truth");
    swap->add_option("--seed", seed, "First seed");
    swap->add_option("--forecast-each", each, "Ask every n-th undecided test how much longer to record; 0: none");
    CLI::App* edges = app.add_subcommand("swap-edges", "Swap tests through edges and the whole detector");
    int edge_tests = 50;
    edges->add_option("--tests", edge_tests, "Tests of each truth");
    edges->add_option("--seed", seed, "First seed");
    edges->add_option("--seconds", seconds, "Seconds a side");
    edges->add_option("--scenario", scenario, "Scenario whose engine is drawn");
    CLI::App* repair = app.add_subcommand("repair", "The sequential repair test");
    int runs = 20000;
    repair->add_option("--runs", runs, "Runs of each row");
    repair->add_option("--seed", seed, "Seed");
    CLI::App* cranking = app.add_subcommand("cranking", "Relative compression while a starter turns engines that leak");
    CLI::App* work = app.add_subcommand("work", "Work per cylinder of engines that run, some with a weak cylinder");
    int rounds = 4;
    bool listed = false;
    for (CLI::App* command : {cranking, work}) {
        command->add_option("--tests", rounds, "Rounds over all engines");
        command->add_option("--seed", seed, "Seed");
        command->add_flag("--each", listed, "A line a run");
    }
    work->add_option("--seconds", seconds, "Seconds of each run");
    CLI11_PARSE(app, argc, argv);
    if (*swap) kurbel_studies::print(kurbel_studies::run_swaps(tests, seed, each));
    if (*edges) kurbel_studies::print(kurbel_studies::run_edges(scenario, edge_tests, seed, seconds));
    if (*repair) kurbel_studies::print_repairs(runs, seed);
    if (*cranking) {
        kurbel_studies::CrankingTable table(KURBEL_DATASETS, listed);
        table.run(rounds, seed);
        table.print();
    }
    if (*work) {
        kurbel_studies::WorkTable table(KURBEL_DATASETS, seconds, listed);
        table.run(rounds, seed);
        table.print();
    }
    return 0;
}
