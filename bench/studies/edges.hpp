// Swap tests through edges and the whole detector: engines on paper, drawn by seed, idling before and after an exchange.
#pragma once

#include <algorithm>
#include <array>
#include <cstdio>
#include <initializer_list>
#include <string>

#include "kurbel/read/input_error.hpp"
#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "swap_table.hpp"

namespace kurbel_studies {

/// What the detector calls wrongly: on engines without a fault, and on the healthy cylinders beside a faulty one.
struct WrongCalls {
    std::int64_t clean_firings = 0;
    std::int64_t clean_calls = 0;
    std::int64_t lost_beside = 0;  ///< misfires of faulty cylinders
    std::int64_t calls_beside = 0;

    void add(const kurbel::JudgedRecording& recording, std::initializer_list<int> faulty) {
        for (const kurbel::Event& event : recording.events) {
            if (event.verdict == kurbel::Verdict::unjudged) continue;
            const bool called = event.verdict == kurbel::Verdict::misfire;
            const bool is_faulty = std::find(faulty.begin(), faulty.end(), event.cylinder) != faulty.end();
            if (faulty.size() == 0) {
                ++clean_firings;
                clean_calls += called ? 1 : 0;
            } else {
                (is_faulty ? lost_beside : calls_beside) += called ? 1 : 0;
            }
        }
    }
    void print() const {
        std::printf("Called wrongly: %s of the firings without a fault; %s a misfire beside one\n",
                    share_text(clean_calls, clean_firings).c_str(), share_text(calls_beside, lost_beside).c_str());
    }
};

/// `tests` exchanges of each truth on engines of the scenario file `path`; `seconds` a side. Engines that do not idle with the fault
/// drawn are refused and replaced by others, up to one in two.
inline SwapFigures run_edges(const std::string& path, int tests, std::uint64_t seed, double seconds) {
    using namespace kurbel;
    SwapFigures figures;
    WrongCalls wrong_calls;
    std::array<int, kTruths> told{};
    for (int i = 0; i < tests + tests / 2; ++i)
        for (int truth = 0; truth < kTruths; ++truth) {
            if (told[static_cast<std::size_t>(truth)] == tests) continue;
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
                JudgedRecording recording = judge_recording(simulate::simulate(scenario), name);
                wrong_calls.add(recording, faulty);
                return recording;
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
            std::string verdict;
            try {
                verdict = study_swap({before}, {after}, {{a, b}}, options).verdict;
            } catch (const read::InputError& error) {  // as the command would: no verdict, and why
                ++figures.refused;
                std::fprintf(stderr, "seed %llu, %s: %s\n", static_cast<unsigned long long>(draw),
                             word(static_cast<Truth>(truth)), error.what());
                continue;
            }
            ++told[static_cast<std::size_t>(truth)];
            if (verdict != "undecided" && verdict_index(verdict) != truth)
                std::fprintf(stderr, "seed %llu, rate %.3f, %s called %s\n", static_cast<unsigned long long>(draw),
                             rate, word(static_cast<Truth>(truth)), verdict.c_str());
            ++figures.verdicts[static_cast<std::size_t>(truth)][static_cast<std::size_t>(verdict_index(verdict))];
            const auto s = static_cast<std::size_t>(seconds < 30.0 ? 0 : seconds < 60.0 ? 1 : 2);
            const auto r = static_cast<std::size_t>(rate < 0.2 ? 2 : 3);
            ++figures.tests[s][r];
            if (verdict == "undecided") ++figures.undecided[s][r];
        }
    wrong_calls.print();
    return figures;
}

}  // namespace kurbel_studies
