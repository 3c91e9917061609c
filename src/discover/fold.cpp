#include "discover/fold.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <utility>

#include "discover/middle_mean.hpp"

namespace kurbel::discover {

namespace {

/// An interval that differs from the pattern's by this much holds a missed edge (log 2) or is a part of one; less, and speed
/// swings within the lap may do it.
constexpr double kForeign = 0.42;
/// Laps that stand apart by longer than this, in laps, are not counted across.
constexpr double kLongestGap = 6.0;
constexpr double kCountError = 0.3;

double square_sum(const std::vector<double>& seen, const std::vector<double>& pattern, std::size_t turn) {
    double sum = 0.0;
    for (std::size_t i = 0; i < seen.size(); ++i) {
        const double apart = seen[i] - pattern[(i + turn) % pattern.size()];
        sum += apart * apart;
    }
    return sum;
}

bool fits(const std::vector<double>& seen, const std::vector<double>& pattern) {
    for (std::size_t i = 0; i < seen.size(); ++i)
        if (std::abs(seen[i] - pattern[i]) > kForeign) return false;
    return true;
}

bool fits_best_unturned(const std::vector<double>& seen, const std::vector<double>& pattern) {
    const double here = square_sum(seen, pattern, 0);
    for (std::size_t turn = 1; turn < pattern.size(); ++turn)
        if (square_sum(seen, pattern, turn) <= here) return false;
    return true;
}

/// Where two laps follow each other most alike, as a first pattern.
std::vector<double> first_pattern(const std::vector<double>& edge_s, int edges) {
    const auto lap = static_cast<std::size_t>(edges);
    std::vector<double> best;
    double least = std::numeric_limits<double>::infinity();
    const std::size_t last = edge_s.size() > 2 * lap ? edge_s.size() - 2 * lap - 1 : 0;
    const std::size_t step = std::max<std::size_t>(1, last / 2000);
    for (std::size_t start = 0; start < last; start += step) {
        const std::vector<double> one = log_intervals(edge_s, start, edges);
        const std::vector<double> two = log_intervals(edge_s, start + lap, edges);
        const double apart = square_sum(one, two, 0);
        if (apart >= least) continue;
        least = apart;
        best = one;
        for (std::size_t i = 0; i < lap; ++i) best[i] = 0.5 * (one[i] + two[i]);
    }
    return best;
}

void number_laps(const std::vector<double>& edge_s, int edges, std::vector<Lap>& laps) {
    for (std::size_t j = 1; j < laps.size(); ++j) {
        Lap& lap = laps[j];
        const Lap& before = laps[j - 1];
        lap.section = before.section;
        const std::size_t end = before.first + static_cast<std::size_t>(edges);
        if (lap.first == end) {
            lap.number = before.number + 1;
            continue;
        }
        const auto length = static_cast<std::size_t>(edges);
        const double lap_s =
            0.5 * (edge_s[end] - edge_s[before.first] + edge_s[lap.first + length] - edge_s[lap.first]);
        const double between = (edge_s[lap.first] - edge_s[end]) / lap_s;
        if (between > kLongestGap || std::abs(between - std::round(between)) > kCountError) {
            ++lap.section;
            lap.number = 0;
        } else {
            lap.number = before.number + 1 + std::llround(between);
        }
    }
}

/// Whether this lap and the two behind it all look like the pattern turned by the same number of intervals: an edge more or fewer has shifted
/// them, though no interval is foreign. Among many teeth the gap is; a single lap may look so by chance, or by a jerk.
bool turned_for_good(const std::vector<double>& edge_s, std::size_t at, const std::vector<double>& pattern) {
    constexpr std::size_t kMany = 48;
    constexpr std::size_t kLaps = 3;
    const std::size_t edges = pattern.size();
    if (edges > kMany || at + kLaps * edges >= edge_s.size()) return false;
    std::vector<double> apart(edges);
    for (std::size_t lap = 0; lap < kLaps; ++lap) {
        const std::vector<double> seen = log_intervals(edge_s, at + lap * edges, static_cast<int>(edges));
        if (fits_best_unturned(seen, pattern)) return false;
        for (std::size_t turn = 0; turn < edges; ++turn) apart[turn] += square_sum(seen, pattern, turn);
    }
    constexpr double kClearly = 0.5;
    return *std::min_element(apart.begin(), apart.end()) < kClearly * apart[0];
}

std::vector<Lap> matching(const std::vector<double>& edge_s, const std::vector<double>& pattern) {
    std::vector<Lap> laps;
    const auto edges = static_cast<int>(pattern.size());
    std::size_t end = std::numeric_limits<std::size_t>::max();
    for (std::size_t at = 0; at + pattern.size() < edge_s.size();) {
        const std::vector<double> seen = log_intervals(edge_s, at, edges);
        const bool next = at == end && !turned_for_good(edge_s, at, pattern);
        if (fits(seen, pattern) && (next || fits_best_unturned(seen, pattern))) {
            laps.push_back({at, 0, 0});
            at += pattern.size();
            end = at;
        } else {
            ++at;
        }
    }
    number_laps(edge_s, edges, laps);
    return laps;
}

/// Middle mean of each interval over the laps: what a few damaged laps do does not count.
std::vector<double> middle_pattern(const std::vector<double>& edge_s, const Fold& fold) {
    constexpr std::size_t kMostLaps = 4000;
    const std::size_t step = std::max<std::size_t>(1, fold.laps.size() / kMostLaps);
    std::vector<std::vector<double>> seen(static_cast<std::size_t>(fold.edges));
    for (std::size_t j = 0; j < fold.laps.size(); j += step) {
        const std::vector<double> lap = log_intervals(edge_s, fold.laps[j].first, fold.edges);
        for (std::size_t i = 0; i < lap.size(); ++i) seen[i].push_back(lap[i]);
    }
    std::vector<double> pattern;
    for (std::vector<double>& each : seen) pattern.push_back(middle_mean(std::move(each)));
    return pattern;
}

Fold finished(const std::vector<double>& edge_s, int edges, std::vector<Lap> laps) {
    Fold fold;
    fold.edges = edges;
    fold.laps = std::move(laps);
    fold.possible = std::floor(static_cast<double>(edge_s.size() - 1) / edges);
    if (!fold.laps.empty()) fold.log_interval = middle_pattern(edge_s, fold);
    return fold;
}

}  // namespace

std::vector<double> log_intervals(const std::vector<double>& edge_s, std::size_t first, int edges) {
    std::vector<double> logs;
    logs.reserve(static_cast<std::size_t>(edges));
    double mean = 0.0;
    for (std::size_t i = first; i < first + static_cast<std::size_t>(edges); ++i) {
        logs.push_back(std::log(edge_s[i + 1] - edge_s[i]));
        mean += logs.back();
    }
    mean /= edges;
    // A steady change of speed makes a slope, which says nothing of the wheel.
    const double half = 0.5 * (edges - 1);
    double slope = 0.0;
    double square = 0.0;
    if (first > 0 && first + static_cast<std::size_t>(edges) + 1 < edge_s.size() && edges > 1) {
        const std::size_t last = first + static_cast<std::size_t>(edges);
        const double before = std::log(edge_s[first + 1] - edge_s[first - 1]);
        const double after = std::log(edge_s[last + 1] - edge_s[last - 1]);
        // The two stretches around the lap's ends are the same places of the wheel, one lap apart.
        slope = (after - before) / edges;
        square = 1.0;
    }
    for (int i = 0; i < edges; ++i) logs[static_cast<std::size_t>(i)] -= mean + square * slope * (i - half);
    return logs;
}

Fold fold_by_pattern(const std::vector<double>& edge_s, int edges) {
    if (edges < 1 || edge_s.size() < 4 * static_cast<std::size_t>(edges)) return {};
    std::vector<double> pattern = first_pattern(edge_s, edges);
    if (pattern.empty()) return {};
    Fold fold = finished(edge_s, edges, matching(edge_s, pattern));
    if (fold.laps.empty()) return fold;
    return finished(edge_s, edges, matching(edge_s, fold.log_interval));
}

namespace {

/// A mark that falls beside an edge is seen now before, now behind it: lets each lap begin where it fits its like best.
void realign(const std::vector<double>& edge_s, Fold& fold) {
    for (Lap& lap : fold.laps) {
        double least = std::numeric_limits<double>::infinity();
        std::size_t best = lap.first;
        for (const std::size_t first : {lap.first, lap.first - 1, lap.first + 1}) {
            if (first + static_cast<std::size_t>(fold.edges) >= edge_s.size()) continue;  // 0 - 1 is large, too
            const double apart = square_sum(log_intervals(edge_s, first, fold.edges), fold.log_interval, 0);
            if (apart < least) {
                least = apart;
                best = first;
            }
        }
        lap.first = best;
    }
}

}  // namespace

namespace {

/// First edge behind each mark. Where all marks stand at one place between two edges, that place decides, so that one beside an edge is not
/// seen now before, now behind it: `steady` says so.
std::vector<std::size_t> edges_behind(const std::vector<double>& edge_s, const std::vector<double>& mark_s,
                                      bool& steady) {
    std::vector<std::size_t> behind;
    std::vector<double> share;  // of the interval that holds the mark
    std::complex<double> mean = 0.0;
    std::size_t next = 0;
    for (const double mark : mark_s) {
        while (next < edge_s.size() && edge_s[next] <= mark) ++next;
        const bool between = next > 0 && next < edge_s.size();
        behind.push_back(next);
        share.push_back(between ? (mark - edge_s[next - 1]) / (edge_s[next] - edge_s[next - 1]) : 0.0);
        if (between)
            mean += std::polar(1.0 / static_cast<double>(mark_s.size()), 2.0 * std::numbers::pi * share.back());
    }
    constexpr double kOnePlace = 0.7;
    steady = std::abs(mean) > kOnePlace;
    if (!steady) return behind;
    const double place = std::arg(mean) / (2.0 * std::numbers::pi);
    for (std::size_t j = 0; j < behind.size(); ++j) {
        const double off = std::round(share[j] - place);  // -1, 0 or 1
        if (off > 0.5) ++behind[j];
        if (off < -0.5 && behind[j] > 0) --behind[j];
    }
    return behind;
}

}  // namespace

Fold fold_by_marks(const std::vector<double>& edge_s, const std::vector<double>& mark_s, int every, int edges) {
    bool steady = false;
    const std::vector<std::size_t> behind = edges_behind(edge_s, mark_s, steady);
    const auto step = static_cast<std::size_t>(every);
    const auto wide = static_cast<std::size_t>(edges);
    std::vector<Lap> laps;
    for (std::size_t j = 0; j + step < behind.size(); ++j) {
        const std::size_t first = behind[j];
        if (behind[j + step] - first != wide || first + wide >= edge_s.size()) continue;
        if (!laps.empty()) {
            // Of several marks a lap, the same one again: about whole laps behind the last.
            const std::size_t off = (first - laps.back().first) % wide;
            const std::size_t near = std::max<std::size_t>(2, wide / 20);
            if (first < laps.back().first + wide - 1 || std::min(off, wide - off) > near) continue;
        }
        laps.push_back({first, 0, 0});
    }
    if (laps.empty()) return {};
    number_laps(edge_s, edges, laps);
    Fold fold = finished(edge_s, edges, std::move(laps));
    for (int round = 0; round < 2 && !steady; ++round) {
        realign(edge_s, fold);
        fold = finished(edge_s, edges, std::move(fold.laps));
    }
    return fold;
}

Fold joined(const std::vector<double>& edge_s, const Fold& fold, int times, int shift) {
    std::vector<Lap> laps;
    const auto wide = static_cast<std::size_t>(times);
    for (std::size_t j = 0; j + wide <= fold.laps.size(); ++j) {
        const Lap& lap = fold.laps[j];
        const Lap& last = fold.laps[j + wide - 1];
        if (lap.section != last.section || last.number != lap.number + times - 1) continue;
        if (last.first != lap.first + (wide - 1) * static_cast<std::size_t>(fold.edges)) continue;
        if ((lap.number + times - shift) % times != 0) continue;
        laps.push_back({lap.first, (lap.number - shift) / times, lap.section});
    }
    return finished(edge_s, fold.edges * times, std::move(laps));
}

Fold split(const std::vector<double>& edge_s, const Fold& fold, int parts) {
    std::vector<Lap> laps;
    const int edges = fold.edges / parts;
    for (const Lap& lap : fold.laps)
        for (int part = 0; part < parts; ++part)
            laps.push_back(
                {lap.first + static_cast<std::size_t>(part * edges), lap.number * parts + part, lap.section});
    return finished(edge_s, edges, std::move(laps));
}

std::vector<Lap> longest_section(const Fold& fold) {
    std::vector<Lap> best;
    std::vector<Lap> now;
    for (const Lap& lap : fold.laps) {
        if (!now.empty() && now.back().section != lap.section) now.clear();
        now.push_back(lap);
        if (now.size() > best.size()) best = now;
    }
    return best;
}

}  // namespace kurbel::discover
