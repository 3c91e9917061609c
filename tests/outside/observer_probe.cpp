// What the detection table's trained observer makes of a recording, for a script that does the same with scikit-learn: a line a
// firing (time, cylinder, misfire, score as it is, score relative), then the bin's width. Given "-" in its place: scores and labels
// from standard input, answered by the area under the ROC curve and the fewest misses at several shares of false alarms.
#include <cstdio>
#include <exception>
#include <iostream>
#include <string>

#include "observer.hpp"

namespace {

using namespace kurbel_detection;

void tell_scores(const char* folder) {
    const Recording recording = kurbel::read::read_recording(folder);
    const std::vector<Firing> firings = judge(Scenario{}, recording, {}).firings;
    const Bins bins = bins_of(recording);
    const Scores absolute = observe(bins, firings, Level::absolute);
    const Scores relative = observe(bins, firings, Level::relative);
    for (std::size_t i = 0; i < firings.size(); ++i)
        if (firings[i].kind == Truth::healthy || firings[i].kind == Truth::misfire)
            std::printf("firing %.9f %d %d %.17g %.17g\n", firings[i].truth.time_s, firings[i].truth.cylinder,
                        firings[i].kind == Truth::misfire ? 1 : 0, absolute[i], relative[i]);
    std::printf("bin_deg %.17g\n", bins.grid.bin_deg);
}

void tell_area() {
    Pool pool;
    double score = 0.0;
    int misfire = 0;
    while (std::cin >> score >> misfire) (misfire == 1 ? pool.misfires : pool.healthy).push_back(score);
    std::printf("auc %.17g\n", area_under_roc(pool));
    for (const double most : {0.0, 2e-4, 1e-3, 0.02, 0.3})
        std::printf("missed %g %lld\n", most, static_cast<long long>(best_missed(pool, most).count));
}

}  // namespace

int main(int argc, char** argv) {
    if (argc != 2) return 2;
    try {
        if (std::string(argv[1]) == "-")
            tell_area();
        else
            tell_scores(argv[1]);
    } catch (const std::exception& error) {
        std::fprintf(stderr, "%s\n", error.what());
        return 3;
    }
    return 0;
}
