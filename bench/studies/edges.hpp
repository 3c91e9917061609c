// Swap tests through edges and the whole detector: engines on paper, drawn by seed, idling before and after an exchange.
#pragma once

#include <string>

#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "swap_table.hpp"

namespace kurbel_studies {

/// `tests` exchanges of each truth on engines of the scenario file `path`; `seconds` a side.
inline SwapFigures run_edges(const std::string& path, int tests, std::uint64_t seed, double seconds) {
    using namespace kurbel;
    SwapFigures figures;
    for (int i = 0; i < tests; ++i)
        for (int truth = 0; truth < kTruths; ++truth) {
            const std::uint64_t draw = seed + static_cast<std::uint64_t>(i * kTruths + truth);
            Random random(draw);
            simulate::Scenario scenario = simulate::read_scenario(path, draw);
            scenario.machine_seed = draw;  // the same engine before and after
            scenario.seconds = seconds;
            simulate::MisfireRule rule;
            const double rate = random.log_uniform(0.05, 1.0);
            const bool bursts = rate < 0.5 && random.chance(0.4);
            rule.pattern = bursts ? simulate::MisfirePattern::burst : simulate::MisfirePattern::random;
            rule.length = 2 + random.below(4);
            rule.rate = bursts ? rate / rule.length / (1.0 - rate) : rate;
            rule.severity = random.chance(0.3) ? random.uniform(0.7, 1.0) : 1.0;
            const int n = scenario.engine.cylinders;
            const int a = 1 + random.below(n);
            const int b = 1 + (a - 1 + 1 + random.below(n - 1)) % n;
            int third = 1;
            while (third == a || third == b) ++third;
            const auto judged = [&](const char* name, std::initializer_list<int> faulty, std::uint64_t run) {
                scenario.seed = draw * 4 + run;
                scenario.misfires.clear();
                for (const int cylinder : faulty) {
                    rule.cylinders = {cylinder};
                    scenario.misfires.push_back(rule);
                }
                return judge_recording(simulate::simulate(scenario), name);
            };
            const JudgedRecording before = judged("BEFORE", {a}, 1);
            JudgedRecording after;
            switch (static_cast<Truth>(truth)) {
                case Truth::followed: after = judged("AFTER", {b}, 2); break;
                case Truth::stayed: after = judged("AFTER", {a}, 2); break;
                case Truth::vanished: after = judged("AFTER", {}, 2); break;
                case Truth::other:
                    after = random.chance(0.5) ? judged("AFTER", {third}, 2) : judged("AFTER", {a, b}, 2);
                    break;
            }
            SwapOptions options;
            options.forecast = false;
            const std::string verdict = study_swap({before}, {after}, {{a, b}}, options).verdict;
            ++figures.verdicts[static_cast<std::size_t>(truth)][static_cast<std::size_t>(verdict_index(verdict))];
            const auto s = static_cast<std::size_t>(seconds < 30.0 ? 0 : seconds < 60.0 ? 1 : 2);
            const auto r = static_cast<std::size_t>(rate < 0.2 ? 2 : 3);
            ++figures.tests[s][r];
            if (verdict == "undecided") ++figures.undecided[s][r];
        }
    return figures;
}

}  // namespace kurbel_studies
