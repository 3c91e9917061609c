// Numbers of the study of patterns, for pattern_scipy.py. Lines read: "runs ONES ZEROS" prints the distribution of runs;
// "poisson COUNT MEAN" a tail; "test N CELLS" followed by N pairs "outcome cell" prints the p-values by cell and by trend;
// "lag LAG N" followed by N outcomes prints the correlation; "holm N" followed by N p-values prints them adjusted.
#include <cstdint>
#include <cstdio>
#include <cstring>
#include <vector>

#include "kurbel/study/block_test.hpp"
#include "kurbel/study/coincidence.hpp"
#include "kurbel/study/multiplicity.hpp"
#include "kurbel/study/runs.hpp"

namespace {

void runs() {
    long long ones = 0;
    long long zeros = 0;
    if (std::scanf("%lld %lld", &ones, &zeros) != 2) return;
    for (const double chance : kurbel::runs_distribution(ones, zeros)) std::printf("%.17g ", chance);
    std::printf("\n");
}

void poisson() {
    long long count = 0;
    double mean = 0.0;
    if (std::scanf("%lld %lf", &count, &mean) == 2) std::printf("%.17g\n", kurbel::poisson_at_least(count, mean));
}

void test() {
    int n = 0;
    if (std::scanf("%d", &n) != 1) return;
    std::vector<bool> one;
    std::vector<int> cell;
    std::vector<double> value;
    for (int i = 0; i < n; ++i) {
        int outcome = 0;
        int place = 0;
        if (std::scanf("%d %d", &outcome, &place) != 2) return;
        one.push_back(outcome != 0);
        cell.push_back(place);
        value.push_back(place);
    }
    const kurbel::BlockTest blocks(one, std::vector<std::int32_t>(one.size(), 0));
    std::printf("%.17g %.17g\n", blocks.by_cell(cell), blocks.by_trend(value, cell));
}

void lag() {
    int distance = 0;
    int n = 0;
    if (std::scanf("%d %d", &distance, &n) != 2) return;
    std::vector<kurbel::Outcome01> row;
    double sum = 0.0;
    for (int i = 0; i < n; ++i) {
        int outcome = 0;
        if (std::scanf("%d", &outcome) != 1) return;
        row.push_back({outcome != 0, 0, 0.0});
        sum += outcome;
    }
    for (auto& outcome : row) outcome.chance = sum / n;
    const kurbel::Coincidences found = kurbel::coincidences(row, distance);
    std::printf("%lld %.17g %.17g\n", static_cast<long long>(found.both), found.correlation, found.more);
}

void holm() {
    int n = 0;
    if (std::scanf("%d", &n) != 1) return;
    std::vector<double> p(static_cast<std::size_t>(n));
    for (double& value : p)
        if (std::scanf("%lf", &value) != 1) return;
    for (const double value : kurbel::holm(p)) std::printf("%.17g ", value);
    std::printf("\n");
}

}  // namespace

int main() {
    char word[16];
    while (std::scanf("%15s", word) == 1) {
        if (std::strcmp(word, "runs") == 0) runs();
        if (std::strcmp(word, "poisson") == 0) poisson();
        if (std::strcmp(word, "test") == 0) test();
        if (std::strcmp(word, "lag") == 0) lag();
        if (std::strcmp(word, "holm") == 0) holm();
    }
    return 0;
}
