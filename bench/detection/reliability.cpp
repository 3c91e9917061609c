#include "reliability.hpp"

#include <algorithm>
#include <cmath>

#include "scores.hpp"
#include "text/text.hpp"

namespace kurbel_detection {

using kurbel::text::format;

bool Reliability::Bin::holds() const noexcept {
    if (lost.of == 0) return true;
    const kurbel::Interval interval = lost.interval();
    return mean_probability() >= interval.low && mean_probability() <= interval.high;
}

void Reliability::add(const std::vector<Firing>& firings) {
    for (const Firing& firing : firings) {
        if (firing.kind == Truth::no_fuel || !firing.has_event || firing.event.verdict == kurbel::Verdict::unjudged)
            continue;
        const double p = firing.event.probability;
        if (!(p >= 0.0 && p <= 1.0)) continue;
        const auto above = std::upper_bound(kReliabilityBounds.begin() + 1, kReliabilityBounds.end() - 1, p);
        Bin& bin = bins_[static_cast<std::size_t>(above - kReliabilityBounds.begin() - 1)];
        bin.probability_sum += p;
        ++bin.lost.of;
        if (firing.kind == Truth::misfire || firing.kind == Truth::weak) ++bin.lost.count;
    }
}

void Reliability::add(const Reliability& other) noexcept {
    for (std::size_t b = 0; b < kBins; ++b) {
        bins_[b].probability_sum += other.bins_[b].probability_sum;
        bins_[b].lost.count += other.bins_[b].lost.count;
        bins_[b].lost.of += other.bins_[b].lost.of;
    }
}

std::int64_t Reliability::firings() const noexcept {
    std::int64_t sum = 0;
    for (const Bin& bin : bins_) sum += bin.lost.of;
    return sum;
}

std::string reliability_csv(const Reliability& reliability) {
    std::string text =
        "probability_from,probability_to,firings,mean_probability,lost,share,share_low,share_high,holds\n";
    for (std::size_t b = 0; b < Reliability::kBins; ++b) {
        const Reliability::Bin& bin = reliability.bins()[b];
        text += format("%.10g,%.10g,%lld,", kReliabilityBounds[b], kReliabilityBounds[b + 1],
                       static_cast<long long>(bin.lost.of));
        if (bin.lost.of == 0) {
            text += ",0,,,,\n";
            continue;
        }
        const kurbel::Interval interval = bin.lost.interval();
        text += format("%.9g,%lld,%.9g,%.9g,%.9g,%d\n", bin.mean_probability(), static_cast<long long>(bin.lost.count),
                       bin.lost.rate(), interval.low, interval.high, bin.holds() ? 1 : 0);
    }
    return text;
}

std::string reliability_markdown(const Reliability& reliability) {
    std::string text =
        "| probability | firings | its mean | really lost [95 %] | within |\n"
        "|---|--:|--:|--:|---|\n";
    for (std::size_t b = 0; b < Reliability::kBins; ++b) {
        const Reliability::Bin& bin = reliability.bins()[b];
        if (bin.lost.of == 0) continue;
        const kurbel::Interval interval = bin.lost.interval();
        text += format("| %g to %g | %lld | %.4g | %.4g [%.3g, %.3g] | %s |\n", kReliabilityBounds[b],
                       kReliabilityBounds[b + 1], static_cast<long long>(bin.lost.of), bin.mean_probability(),
                       bin.lost.rate(), interval.low, interval.high, bin.holds() ? "yes" : "no");
    }
    return text;
}

}  // namespace kurbel_detection
