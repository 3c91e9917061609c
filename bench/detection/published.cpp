#include "published.hpp"

#include <functional>
#include <regex>

#include "text/text.hpp"

namespace kurbel_detection {

namespace {

using kurbel::text::format;
using Chosen = std::function<bool(const Outcome&)>;

Chosen named(const char* pattern) {
    return [expression = std::regex(pattern)](const Outcome& o) { return std::regex_search(o.cell->name, expression); };
}

/// "99.91 (3 cells, least 99.4 in speed-...)": misfires found, of those cells.
std::string found(const std::vector<Outcome>& outcomes, const Chosen& chosen) {
    kurbel::Share missed;
    const Outcome* worst = nullptr;
    int cells = 0;
    for (const Outcome& o : outcomes) {
        if (o.cell->kind == Kind::beyond || o.missed.of == 0 || !chosen(o)) continue;
        ++cells;
        missed.count += o.missed.count;
        missed.of += o.missed.of;
        if (worst == nullptr || o.missed.rate() > worst->missed.rate()) worst = &o;
    }
    if (worst == nullptr) return "not run";
    return format("%.2f %% in %d cells, least %.2f %% (%s)", 100.0 * (1.0 - missed.rate()), cells,
                  100.0 * (1.0 - worst->missed.rate()), worst->cell->name.c_str());
}

/// Share of all judged and missed firings that were named right.
std::string right(const std::vector<Outcome>& outcomes, const Chosen& chosen) {
    std::int64_t wrong = 0;
    std::int64_t all = 0;
    for (const Outcome& o : outcomes) {
        if (o.cell->kind == Kind::beyond || !chosen(o)) continue;
        wrong += o.missed.count + o.false_alarms.count;
        all += o.missed.of + o.false_alarms.of;
    }
    if (all == 0) return "not run";
    return format("%.3f %% of %lld firings right",
                  100.0 * (1.0 - static_cast<double>(wrong) / static_cast<double>(all)), static_cast<long long>(all));
}

std::string row(const char* source, const char* condition, const char* theirs, const std::string& ours) {
    return "| " + std::string(source) + " | " + condition + " | " + theirs + " | " + ours + " |\n";
}

}  // namespace

std::string published_markdown(const std::vector<Outcome>& outcomes) {
    const auto any = [](const Outcome&) { return true; };
    const auto four_steady = [](const Outcome& o) {
        static const std::regex others("inline[356]|v[68]|twin|boxer6|diesel|crossplane|motorcycle");
        return o.cell->kind == Kind::steady && !std::regex_search(o.cell->name, others);
    };
    return "Their engines, vehicles and recordings are not at hand: conditions are alike in kind only, theirs are real "
           "and ours are "
           "simulated.\n\n| source | condition | theirs | here |\n|---|---|---|---|\n" +
           row("Boudaghi, Shahbakhti, Jazayeri, JEGTP 2015 (abstract)",
               "four cylinders, steady; single, continuous, multiple", "up to 94 % found",
               found(outcomes, four_steady)) +
           row("Chen, Mandal, Chien, Ortiz-Soto, SAE Int. J. Engines 11(6), 2018 (abstract)",
               "four cylinders, steady and transient, each condition", "more than 95 % found", found(outcomes, any)) +
           row("Wang, Zhang, Gao et al., Energies 15(1):300, 2022 (figure from memory, unconfirmed)",
               "inline six, one and two cylinders without combustion", "at least 99.90 % right",
               right(outcomes, named("inline6.*dead|dead.*inline6"))) +
           row("13 CCR 1968.2 (e)(3.3) (from memory)", "cold-start idle, worst case", "at least 75 % found",
               found(outcomes, named("^cold-idle|^start-cold")));
}

}  // namespace kurbel_detection
