// Simulated swap tests: what was true, what the study said.
#pragma once

#include <algorithm>
#include <array>
#include <cstdio>
#include <string>

#include <nlohmann/json.hpp>
#include "draw.hpp"
#include "kurbel/study/binomial.hpp"
#include "kurbel/study/swap.hpp"

namespace kurbel_studies {

enum class Truth { followed = 0, stayed, vanished, other };
inline constexpr int kTruths = 4;
inline const char* word(Truth truth) {
    constexpr const char* kWords[] = {"followed", "stayed", "vanished", "other"};
    return kWords[static_cast<int>(truth)];
}

/// One drawn swap test.
struct SwapTest {
    Engine engine;
    std::vector<kurbel::Move> moves;
    std::vector<Fault> before;
    std::vector<Fault> after;
    double seconds_before = 60.0;
    double seconds_after = 60.0;
    double rate = 0.0;
    std::uint64_t seed = 0;

    [[nodiscard]] kurbel::Answer ask(double more_seconds, bool forecast) const {
        kurbel::SwapOptions options;
        options.forecast = forecast;
        return kurbel::study_swap({record(engine, before, seconds_before, "BEFORE", seed)},
                                  {record(engine, after, seconds_after + more_seconds, "AFTER", seed + 1)}, moves,
                                  options);
    }
};

/// The same fault in another recording: its rate differs a little.
inline Fault again(const Fault& fault, Random& random) {
    Fault other = fault;
    const double odds = fault.rate / (1.0 - std::min(fault.rate, 1.0 - 1e-9)) * std::exp(0.25 * random.normal());
    other.rate = fault.rate >= 0.999 ? 1.0 : odds / (1.0 + odds);
    // Only spells have a share that they cannot hold more than.
    if (fault.kind != Fault::Kind::independent) other.rate = std::min(other.rate, 0.8 * fault.duty);
    return other;
}

inline SwapTest draw_test(Truth truth, std::uint64_t seed) {
    Random random(seed * 4 + static_cast<std::uint64_t>(truth));
    SwapTest test;
    test.seed = static_cast<std::uint64_t>(random.below(1 << 30));
    test.engine = Engine::draw(random);
    const int n = test.engine.cylinders;
    std::vector<int> order(static_cast<std::size_t>(n));
    for (int c = 0; c < n; ++c) order[static_cast<std::size_t>(c)] = c + 1;
    for (int c = n - 1; c > 0; --c)
        std::swap(order[static_cast<std::size_t>(c)], order[static_cast<std::size_t>(random.below(c + 1))]);
    const int a = order[0];
    const int b = order[1];
    const int third = order[2];
    const bool ring = random.chance(0.25);
    if (ring)
        test.moves = {{a, b}, {b, third}, {third, a}};
    else
        test.moves = {{a, b}};
    const Fault fault = Fault::draw(random);
    const auto at = [](std::vector<Fault>& faults, int c) -> Fault& { return faults[static_cast<std::size_t>(c - 1)]; };
    test.rate = fault.rate;
    test.before.resize(static_cast<std::size_t>(n));
    test.after.resize(static_cast<std::size_t>(n));
    at(test.before, a) = fault;
    // Now and then another cylinder has a fault of its own, which stays.
    if (n > 3 && truth != Truth::vanished && random.chance(0.15)) {
        at(test.before, order[3]) = Fault::draw(random);
        at(test.after, order[3]) = again(at(test.before, order[3]), random);
    }
    switch (truth) {
        case Truth::followed: at(test.after, b) = again(fault, random); break;
        case Truth::stayed: at(test.after, a) = again(fault, random); break;
        case Truth::vanished: break;
        case Truth::other:
            switch (random.below(3)) {
                case 0:  // both places have it now
                    at(test.after, a) = again(fault, random);
                    at(test.after, b) = again(fault, random);
                    break;
                case 1:  // a cylinder has it that nothing of it went to
                    at(test.after, ring || n == 3 ? third : order[2]) = again(fault, random);
                    break;
                default:  // the faulty cylinder was not among the moved ones
                    if (!ring) {
                        at(test.before, a) = Fault{};
                        at(test.before, third) = fault;
                        at(test.after, third) = again(fault, random);
                    } else {
                        at(test.after, third) = again(fault, random);
                    }
            }
    }
    test.seconds_before = random.log_uniform(10.0, 120.0);
    test.seconds_after = random.log_uniform(10.0, 120.0);
    return test;
}

struct SwapFigures {
    std::array<std::array<std::int64_t, 5>, kTruths> verdicts{};  ///< the fifth: undecided
    std::array<std::array<std::int64_t, 4>, 3> undecided{};       ///< by duration, by rate
    std::array<std::array<std::int64_t, 4>, 3> tests{};
    std::int64_t refused = 0;   ///< tests in which a recording could not be compared: no verdict
    std::int64_t asked = 0;     ///< undecided tests with a forecast
    std::int64_t decided = 0;   ///< of those, decided after that many more seconds
    std::int64_t hopeless = 0;  ///< undecided tests whose forecast says that more of AFTER will not do

    [[nodiscard]] std::int64_t wrong(int truth) const {
        std::int64_t sum = 0;
        for (int v = 0; v < kTruths; ++v)
            if (v != truth) sum += verdicts[static_cast<std::size_t>(truth)][static_cast<std::size_t>(v)];
        return sum;
    }
};

inline int verdict_index(const std::string& verdict) {
    for (int i = 0; i < kTruths; ++i)
        if (verdict == word(static_cast<Truth>(i))) return i;
    return kTruths;
}

/// Draws and asks `tests` tests of each truth; of every `forecast_each`-th undecided one also how the forecast comes out.
inline SwapFigures run_swaps(int tests, std::uint64_t seed, int forecast_each) {
    SwapFigures figures;
    std::int64_t undecided = 0;
    for (int i = 0; i < tests; ++i)
        for (int truth = 0; truth < kTruths; ++truth) {
            const SwapTest test = draw_test(static_cast<Truth>(truth), seed + static_cast<std::uint64_t>(i));
            const kurbel::Answer answer = test.ask(0.0, false);
            const int verdict = verdict_index(answer.verdict);
            ++figures.verdicts[static_cast<std::size_t>(truth)][static_cast<std::size_t>(verdict)];
            const double seconds = std::min(test.seconds_before, test.seconds_after);
            const auto s = static_cast<std::size_t>(seconds < 30.0 ? 0 : seconds < 60.0 ? 1 : 2);
            const auto r = static_cast<std::size_t>(test.rate < 0.02   ? 0
                                                    : test.rate < 0.05 ? 1
                                                    : test.rate < 0.2  ? 2
                                                                       : 3);
            ++figures.tests[s][r];
            if (verdict != kTruths) continue;
            ++figures.undecided[s][r];
            if (forecast_each <= 0 || undecided++ % forecast_each != 0) continue;
            const auto evidence = nlohmann::json::parse(test.ask(0.0, true).evidence);
            if (evidence["more_seconds"].is_null()) {
                ++figures.hopeless;
                continue;
            }
            ++figures.asked;
            if (test.ask(evidence["more_seconds"].get<double>(), false).verdict != "undecided") ++figures.decided;
        }
    return figures;
}

inline std::string share_text(std::int64_t count, std::int64_t of) {
    if (of == 0) return "-";
    const kurbel::Interval range = kurbel::exact_interval(count, of);
    char text[96];
    std::snprintf(text, sizeof text, "%lld of %lld = %.2f %% (%.2f to %.2f)", static_cast<long long>(count),
                  static_cast<long long>(of), 100.0 * static_cast<double>(count) / static_cast<double>(of),
                  100.0 * range.low, 100.0 * range.high);
    return text;
}

inline void print(const SwapFigures& figures) {
    std::printf(
        "| truth | followed | stayed | vanished | other | undecided | wrong, 95 %% interval "
        "|\n|---|---|---|---|---|---|---|\n");
    for (int truth = 0; truth < kTruths; ++truth) {
        const auto& row = figures.verdicts[static_cast<std::size_t>(truth)];
        std::int64_t all = 0;
        std::printf("| %s", word(static_cast<Truth>(truth)));
        for (const std::int64_t count : row) {
            std::printf(" | %lld", static_cast<long long>(count));
            all += count;
        }
        std::printf(" | %s |\n", share_text(figures.wrong(truth), all).c_str());
    }
    std::printf("\n| undecided | rate 1 to 2 %% | 2 to 5 %% | 5 to 20 %% | 20 to 100 %% |\n|---|---|---|---|---|\n");
    constexpr const char* kDurations[] = {"10 to 30 s", "30 to 60 s", "60 to 120 s"};
    for (std::size_t s = 0; s < 3; ++s) {
        std::printf("| %s", kDurations[s]);
        for (std::size_t r = 0; r < 4; ++r)
            std::printf(" | %s", share_text(figures.undecided[s][r], figures.tests[s][r]).c_str());
        std::printf(" |\n");
    }
    std::printf("\nUndecided at 5 %% or more and 60 s or more a side: %s\n",
                share_text(figures.undecided[2][2] + figures.undecided[2][3], figures.tests[2][2] + figures.tests[2][3])
                    .c_str());
    if (figures.refused > 0)
        std::printf("Refused, with the reason: %lld (not in the table)\n", static_cast<long long>(figures.refused));
    if (figures.asked + figures.hopeless > 0)
        std::printf("Decided after more_seconds: %s; more of AFTER alone will not do: %lld\n",
                    share_text(figures.decided, figures.asked).c_str(), static_cast<long long>(figures.hopeless));
}

}  // namespace kurbel_studies
