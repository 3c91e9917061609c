#include "discover/motored_choice.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace kurbel::discover {

namespace {

/// By which evidence counts: errors of waves of one engine are no independent witnesses, and those that turn out larger than thought count less.
double cooled(const std::vector<MotoredFit>& fits) { return 0.5 / std::max(1.0, fits.front().misfit); }

/// Chance that a firing TDC lies near `deg`, modulo a turn of the wheel, if `fit` is right. Ten degrees are right; two are left to what the model leaves
/// out.
double chance_near(const MotoredFit& fit, double deg, double turn_deg) {
    constexpr double kNear_deg = 8.0;
    double sum = 0.0;
    for (std::size_t i = 0; i < fit.chance.size(); ++i)
        for (const double tdc : fit.layout->firing_tdc_deg)
            if (std::abs(std::remainder(deg - static_cast<double>(i) - tdc, turn_deg)) <= kNear_deg) {
                sum += fit.chance[i];
                break;
            }
    return sum;
}

}  // namespace

Sureness layout_sureness(double confidence) {
    return confidence > 0.99 ? Sureness::sure : confidence > 0.97 ? Sureness::likely : Sureness::not_sure;
}

double told_period_deg(const Layout& layout, const CycleSpectrum& spectrum) {
    // The greatest angle that both hold a whole number of times.
    const auto common = [](double one, double other) {
        while (other > 0.5) one = std::exchange(other, std::abs(std::remainder(one, other)));
        return one;
    };
    if (spectrum.turn_deg < 359.0) return common(layout.period_deg, spectrum.turn_deg);
    return spectrum.phase_known ? layout.period_deg : common(layout.period_deg, 360.0);
}

void believe_motored(const std::vector<MotoredFit>& fits, std::vector<LayoutScore>& scores) {
    if (fits.empty()) return;
    const double cooler = cooled(fits);
    for (LayoutScore& score : scores) {
        const auto fit =
            std::find_if(fits.begin(), fits.end(), [&](const MotoredFit& each) { return each.layout == score.layout; });
        if (fit != fits.end()) score.cost -= cooler * (fit->log_evidence - fits.front().log_evidence);
    }
    std::sort(scores.begin(), scores.end(), [](const LayoutScore& a, const LayoutScore& b) { return a.cost < b.cost; });
}

TdcFinding motored_tdc(const std::vector<MotoredFit>& fits, const std::vector<LayoutScore>& scores,
                       double engine_confidence, const CycleSpectrum& spectrum) {
    TdcFinding tdc;
    const auto fit_of = [&](const Layout* layout) {
        return std::find_if(fits.begin(), fits.end(), [&](const MotoredFit& each) { return each.layout == layout; });
    };
    const Layout& layout = *scores.front().layout;
    const MotoredFit& best = *fit_of(&layout);
    tdc.fuel_cut = true;
    tdc.period_deg = told_period_deg(layout, spectrum);
    std::vector<double> folded(static_cast<std::size_t>(std::lround(tdc.period_deg)));
    for (std::size_t i = 0; i < best.chance.size(); ++i) folded[i % folded.size()] += best.chance[i];
    // The middle of the likeliest stretch of ten degrees either side.
    const auto wide = static_cast<std::ptrdiff_t>(folded.size());
    const auto within = [&](std::ptrdiff_t at, std::ptrdiff_t reach) {
        double sum = 0.0;
        for (std::ptrdiff_t k = -reach; k <= reach; ++k)
            sum += folded[static_cast<std::size_t>(((at + k) % wide + wide) % wide)];
        return sum;
    };
    std::ptrdiff_t at = 0;
    for (std::ptrdiff_t i = 0; i < wide; ++i)
        if (within(i, 5) > within(at, 5) + 1e-9) at = i;
    tdc.deg = static_cast<double>(at);
    std::ptrdiff_t reach = 0;
    while (2 * reach + 1 < wide && within(at, reach) < 0.99) ++reach;
    tdc.low_deg = tdc.deg - static_cast<double>(reach) - 0.5;
    tdc.high_deg = tdc.deg + static_cast<double>(reach) + 0.5;
    double sum = 0.0;
    double right = 0.0;
    for (const LayoutScore& score : scores) {
        // What is rare is believed half as late here, for a wrong TDC costs more than one that is not told; and as soon as all else where it
        // has all the waves that were seen, and one more between: an engine with twice as many cylinders.
        const bool doubled = score.layout->cylinders() == 2 * layout.cylinders();
        const double rarer = (doubled ? 1.0 : 0.5) * std::max(0.0, score.rarity - scores.front().rarity);
        const double weight = std::exp(scores.front().cost - score.cost + rarer);
        sum += weight;
        right += weight * chance_near(*fit_of(score.layout), tdc.deg, spectrum.turn_deg);
    }
    const auto hidden = fit_of(nullptr);
    sum += std::exp(cooled(fits) * (hidden->log_evidence - best.log_evidence));
    tdc.confidence = std::min(0.999, right / sum);
    // An engine that is not on the list may stand behind one that fits by half.
    constexpr double kKnown = 0.9;
    if (engine_confidence < kKnown) tdc.confidence = std::min(tdc.confidence, engine_confidence);
    // Nor is a TDC told that is likely only, of an engine that is not told: two doubts of one origin.
    constexpr double kLikelyEngine = 0.97;
    if (engine_confidence <= kLikelyEngine && layout_sureness(tdc.confidence) != Sureness::sure)
        tdc.confidence = std::min(tdc.confidence, kLikelyEngine);
    tdc.sureness = layout_sureness(tdc.confidence);
    tdc.why =
        "Without fuel the crank is slowest where a piston stands at TDC after compression; what burning adds at the "
        "same "
        "speed drives it behind TDC.";
    if (tdc.sureness == Sureness::not_sure)
        tdc.raise = engine_confidence < kLikelyEngine
                        ? "Count the cylinders and look up how their firings are spaced: spacings that fit alike put "
                          "TDC at different places."
                        : "Record a longer fuel cut down to low speed, where pistons and torsion disturb least, and "
                          "drive with fuel at a speed that it passes: what burning adds there tells TDC, too.";
    return tdc;
}

}  // namespace kurbel::discover
