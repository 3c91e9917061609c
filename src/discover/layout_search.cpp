#include "discover/layout_search.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>

#include "discover/cylinder_spectra.hpp"
#include "discover/layout_choice.hpp"
#include "discover/layouts.hpp"
#include "discover/motored_choice.hpp"
#include "discover/motored_tdc.hpp"
#include "discover/tdc_by_points.hpp"

namespace kurbel::discover {

namespace {

std::string in_words(const Layout& layout) {
    return std::to_string(layout.cylinders()) + (layout.cylinders() == 1 ? " firing" : " firings") +
           " in two revolutions, " + layout.name;
}

/// Chance that the first is right: both with what is rare believed later, and by the edges alone, where the less sure one counts. A nearly
/// even spacing stays rare beside the even one of as many cylinders, which it looks like.
double confidence_of(const std::vector<LayoutScore>& scores) {
    const LayoutScore& first = scores.front();
    double others = 0.0;
    double alone = 0.0;
    for (std::size_t i = 1; i < scores.size(); ++i) {
        const LayoutScore& other = scores[i];
        const double worse = other.cost - first.cost;
        others += std::exp(-worse);
        const bool alike = first.layout->even() && other.layout->nearly_even() &&
                           other.layout->cylinders() == first.layout->cylinders();
        alone += std::exp(-(alike ? worse : worse - std::max(0.0, other.rarity - first.rarity)));
    }
    return 1.0 / (1.0 + std::max(others, alone));
}

void fill_engine(const std::vector<LayoutScore>& scores, const CycleSpectrum& spectrum, const CamFinding& cam,
                 bool motored, EngineFinding& engine) {
    const Layout& layout = *scores.front().layout;
    engine.cylinders = layout.cylinders();
    engine.even = layout.even();
    engine.firing_tdc_deg = layout.firing_tdc_deg;
    engine.layout = layout.name;
    engine.strokes = cam.tells_cycle ? 4 : 0;
    engine.confidence = std::min(0.999, confidence_of(scores));
    // Firings too close for the wheel would look like waves that it shows; those of engines that are rare, like the wave next to theirs.
    constexpr int kUsual = 8;
    constexpr int kRareMost = 12;
    const double wave = 720.0 / layout.period_deg;
    const auto hidden = [&](const Layout& each) {
        const bool near = each.cylinders() <= kRareMost && 720.0 / each.period_deg <= wave + 2.5;
        return each.even() && (each.cylinders() <= kUsual || near) && !shows(each, spectrum);
    };
    if (std::any_of(layouts().begin(), layouts().end(), hidden)) engine.confidence = std::min(engine.confidence, 0.9);
    // Where even the slowest firings come near the crank's torsion, waves of twice the firing order may tower over it.
    double slowest = std::numeric_limits<double>::infinity();
    for (const SpectrumPoint& point : spectrum.points) slowest = std::min(slowest, point.energy);
    const double firing_hz = 360.0 / layout.period_deg * std::sqrt(2.0 * slowest) / (2.0 * std::numbers::pi);
    // Burns that differ between cylinders swing as firings do that are uneven: a V8 at idle as a V4, one cylinder as a twin. Without fuel they do not.
    const bool like_another = !motored && (!layout.even() || layout.cylinders() == 1);
    // An engine of twice as many cylinders, whose firings come near the torsion of its longer crank, shows that crank's twist: as if every
    // second cylinder were there alone.
    constexpr double kLongCrank_hz = 100.0;
    const bool half_shown = 2 * layout.cylinders() <= kUsual && 2.0 * firing_hz > kLongCrank_hz;
    // Waves of an engine are among those of every engine with a half or a third of its cylinders, which explains whatever else there is:
    // run-out, twist. To be told, the smaller one must be surer than others.
    constexpr double kSurer = 0.998;
    const bool nested = 2 * layout.cylinders() <= kRareMost && engine.confidence <= kSurer;
    // Where gas exchange cancels compression at the firings' own wave, an engine looks like one of twice as many cylinders.
    const bool doubled = layout.even() && layout.cylinders() > kUsual && engine.confidence <= kSurer;
    // Angles that were measured hold the mean of the engine's own swing, and take the waves of the firings from what is seen.
    const bool hidden_in_angles = spectrum.angles_measured && !motored;
    if (firing_hz > kTorsion_hz || like_another || half_shown || nested || doubled || hidden_in_angles)
        engine.confidence = std::min(engine.confidence, 0.9);
    engine.sureness = layout_sureness(engine.confidence);
    engine.why = "The crank's speed swings as with " + in_words(layout) + ".";
    if (engine.sureness != Sureness::sure && scores.size() > 1)
        engine.raise = "Count the cylinders; next best is " + in_words(*scores[1].layout) +
                       ". A warm idle and a fuel cut would tell more.";
    if (engine.strokes == 0)
        engine.why += " A two-stroke with half as many cylinders swings alike; a cam signal would tell.";
}

}  // namespace

LayoutSearch search_layout(const CycleSpectrum& spectrum, const CamFinding& cam) {
    LayoutSearch search;
    search.engine.raise =
        "Record a warm idle of half a minute, then a drive with a long fuel cut, with a wheel of many teeth.";
    search.tdc.why = "The engine is not known.";
    search.tdc.raise = "Tell the engine first; then record a fuel cut (foot off the pedal in gear, from high speed).";
    constexpr int kFewestWaves = 4;
    if (spectrum.waves < kFewestWaves) {
        search.engine.why = "The wheel has too few teeth to show single firings.";
        return search;
    }
    if (spectrum.points.empty()) {
        search.engine.why = "Too few whole engine cycles at one speed were seen.";
        return search;
    }
    const CylinderSpectra spectra(spectrum.waves);
    const std::vector<MotoredFit> fits = fit_motored(spectrum, spectra);
    std::vector<LayoutScore> scores = score_layouts(spectrum, spectra);
    if (scores.empty()) return search;
    believe_motored(fits, scores);
    fill_engine(scores, spectrum, cam, !fits.empty(), search.engine);
    if (!fits.empty()) {
        search.tdc = motored_tdc(fits, scores, search.engine.confidence, spectrum);
        return search;
    }
    search.tdc = tdc_by_points(*scores.front().layout, spectrum, spectra, search.engine.confidence);
    return search;
}

}  // namespace kurbel::discover
