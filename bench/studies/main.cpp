// kurbel_studies: what the swap test and the repair test are worth, measured on invented faults. Prints Markdown.
#include <CLI/CLI.hpp>

#include "edges.hpp"
#include "verify_table.hpp"

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
    CLI11_PARSE(app, argc, argv);
    if (*swap) kurbel_studies::print(kurbel_studies::run_swaps(tests, seed, each));
    if (*edges) kurbel_studies::print(kurbel_studies::run_edges(scenario, edge_tests, seed, seconds));
    if (*repair) kurbel_studies::print_repairs(runs, seed);
    return 0;
}
