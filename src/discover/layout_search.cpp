#include "discover/layout_search.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>

#include "discover/cylinder_spectra.hpp"
#include "discover/layout_choice.hpp"
#include "discover/layouts.hpp"
#include "discover/motored_choice.hpp"
#include "discover/motored_tdc.hpp"
#include "kurbel/core/slider_crank.hpp"
#include "study/shortest_arc.hpp"

namespace kurbel::discover {

namespace {

/// Errors of the model, standard deviations over a wave's own size and over the largest one's; in gear, above some speed, driveline
/// and clutch springs add theirs (judged from their usual size, as in study/operating_points.cpp; no source).
constexpr double kOwnError = 0.08;
constexpr double kShapeError = 0.03;
constexpr double kInGear_rpm = 1000.0;
constexpr double kDrivelineError = 0.12;
/// Cylinders of one engine differ by this in what they do (common practice, no source).
constexpr double kSpread = 0.05;
/// Waves above these frequencies meet the crank's torsion and are left out (common practice, no source).
constexpr double kTorsion_hz = 150.0;
/// Pistons of all cylinders over the whole inertia, at most (common practice, no source).
constexpr double kMostInertia = 0.04;
constexpr int kInertias = 5;
constexpr double kPlausible = 9.0;  ///< squared standard errors

/// One point, ready for the search.
struct Case {
    const SpectrumPoint* point;
    bool contrast;                 ///< wheel errors and inertia are gone
    std::vector<double> variance;  ///< without what depends on the layout; infinite: not used
    double largest = 0.0;          ///< wave
    double strength = 0.0;         ///< squared standard errors that there are to explain
};

Case make_case(const CycleSpectrum& spectrum, const SpectrumPoint& point, bool contrast) {
    Case result{&point, contrast, {}, 0.0, 0.0};
    const double speed_hz = std::sqrt(2.0 * point.energy) / (2.0 * std::numbers::pi);
    const auto usable = [&](std::size_t h) {
        return spectrum.told[h] && 0.5 * static_cast<double>(h + 1) * speed_hz < kTorsion_hz;
    };
    for (std::size_t h = 0; h < point.phasor.size(); ++h)
        if (usable(h)) result.largest = std::max(result.largest, std::abs(point.phasor[h]));
    for (std::size_t h = 0; h < point.phasor.size(); ++h) {
        if (!usable(h)) {
            result.variance.push_back(std::numeric_limits<double>::infinity());
            continue;
        }
        const double order = 0.5 * static_cast<double>(h + 1);
        const double size = std::abs(point.phasor[h]);
        double variance = point.variance[h];
        variance += std::pow(kOwnError * size, 2) + std::pow(kShapeError * result.largest, 2);
        if (60.0 * speed_hz > kInGear_rpm) variance += std::pow(kDrivelineError * size, 2);
        if (!contrast) variance += std::pow(point.energy * spectrum.wheel_error[h], 2);
        // What twists the crank below its own frequency grows with the square of the ratio.
        variance += std::pow(size * std::pow(order * speed_hz / (2.0 * kTorsion_hz), 2), 2);
        result.variance.push_back(variance);
        result.strength += size * size / variance;
    }
    return result;
}

/// Everything that belongs to one layout.
class Candidate {
  public:
    Candidate(const Layout& layout, const CylinderSpectra& spectra, const std::vector<Case>& cases, int waves)
        : layout_(&layout), cases_(&cases), spectra_(&spectra) {
        for (int h = 1; h <= waves; ++h) {
            std::complex<double> sum = 0.0;
            for (const double deg : layout.firing_tdc_deg) sum += std::polar(1.0, -0.5 * h * to_rad(deg));
            together_.push_back(sum);
        }
        for (const Case& each : cases) prepare(each);
    }

    [[nodiscard]] const Layout& layout() const { return *layout_; }

    /// Squared standard errors left with the first firing TDC at `deg`, of all points or of the worst one.
    [[nodiscard]] double misfit(double deg, bool worst) const {
        double best = std::numeric_limits<double>::infinity();
        for (int i = 0; i < kInertias; ++i) {
            const double ratio = kMostInertia * i / (kInertias - 1) / layout_->cylinders();
            double sum = 0.0;
            for (std::size_t c = 0; c < weighted_.size(); ++c) {
                const double left = left_of(c, deg, ratio);
                sum = worst ? std::max(sum, left) : sum + left;
            }
            best = std::min(best, sum);
        }
        return best;
    }

  private:
    struct Shape {
        Waves wave;  ///< weighted by 1/variance, over the root of the weighted square
        double far_fetched;
    };
    struct Weighted {
        std::vector<double> weight;
        std::vector<Shape> shapes;
    };

    void prepare(const Case& each) {
        Weighted weighted;
        const double spread = kSpread * each.largest / std::sqrt(static_cast<double>(layout_->cylinders()));
        const double first = 720.0 / layout_->period_deg;
        for (std::size_t h = 0; h < each.variance.size(); ++h) {
            // A cylinder's own waves fall with about the square of the order above the firing order, less below it.
            const double falls = std::min(1.5, std::pow(first / static_cast<double>(h + 1), 2));
            weighted.weight.push_back(1.0 / (each.variance[h] + std::pow(spread * falls, 2)));
        }
        for (const GasShape& gas : spectra_->shapes(each.point->motored)) {
            Shape shape{gas.wave, gas.far_fetched};
            double size = 0.0;
            for (std::size_t h = 0; h < shape.wave.size(); ++h) {
                shape.wave[h] *= together_[h];
                size += weighted.weight[h] * std::norm(shape.wave[h]);
            }
            if (!(size > 0.0)) continue;
            for (std::size_t h = 0; h < shape.wave.size(); ++h) shape.wave[h] *= weighted.weight[h] / std::sqrt(size);
            weighted.shapes.push_back(std::move(shape));
        }
        weighted_.push_back(std::move(weighted));
    }

    [[nodiscard]] double left_of(std::size_t c, double deg, double ratio) const {
        const SpectrumPoint& point = *(*cases_)[c].point;
        const Weighted& weighted = weighted_[c];
        const double moved = (*cases_)[c].contrast ? 0.0 : point.energy * ratio;
        double square = 0.0;
        std::array<std::complex<double>, 32> rest{};
        for (std::size_t h = 0; h < point.phasor.size(); ++h) {
            const auto turn = std::polar(1.0, 0.5 * static_cast<double>(h + 1) * to_rad(deg));
            rest[h] = point.phasor[h] * turn - moved * spectra_->inertia()[h] * together_[h];
            square += weighted.weight[h] * std::norm(rest[h]);
        }
        double gained = 0.0;
        for (const Shape& shape : weighted.shapes) {
            double product = 0.0;
            for (std::size_t h = 0; h < point.phasor.size(); ++h)
                product += shape.wave[h].real() * rest[h].real() + shape.wave[h].imag() * rest[h].imag();
            if (product > 0.0) gained = std::max(gained, product * product - shape.far_fetched);
        }
        return square - gained;
    }

    const Layout* layout_;
    const std::vector<Case>* cases_;
    const CylinderSpectra* spectra_;
    Waves together_;
    std::vector<Weighted> weighted_;
};

TdcFinding place_tdc(const Candidate& candidate, const std::vector<Case>& cases, const CycleSpectrum& spectrum) {
    TdcFinding tdc;
    tdc.fuel_cut = std::any_of(cases.begin(), cases.end(), [](const Case& each) { return each.point->motored; });
    const double period = candidate.layout().period_deg;
    tdc.period_deg = told_period_deg(candidate.layout(), spectrum);
    constexpr double kStep_deg = 1.0;
    const int places = static_cast<int>(std::lround(period / kStep_deg));
    std::vector<double> misfit;
    for (int i = 0; i < places; ++i) misfit.push_back(candidate.misfit(period * i / places, true));
    const auto folds = static_cast<int>(std::lround(period / tdc.period_deg));
    std::vector<double> folded(static_cast<std::size_t>(places / folds), std::numeric_limits<double>::infinity());
    for (std::size_t i = 0; i < misfit.size(); ++i) {
        double& least = folded[i % folded.size()];
        least = std::min(least, misfit[i]);
    }
    const auto best = std::min_element(folded.begin(), folded.end());
    std::vector<bool> plausible;
    for (const double value : folded) plausible.push_back(value <= *best + kPlausible);
    const auto [begin, length] = shortest_arc(plausible);
    const double step = tdc.period_deg / static_cast<double>(folded.size());
    tdc.low_deg = step * (static_cast<double>(begin) - 0.5);
    tdc.high_deg = tdc.low_deg + step * static_cast<double>(length);
    tdc.deg = step * static_cast<double>(best - folded.begin());
    while (tdc.low_deg > tdc.deg) {
        tdc.low_deg -= tdc.period_deg;
        tdc.high_deg -= tdc.period_deg;
    }
    const double half_width = 0.5 * (tdc.high_deg - tdc.low_deg);
    // A range of three standard errors; right means within ten degrees.
    constexpr double kRight_deg = 10.0;
    constexpr double kRange = 3.0;
    tdc.confidence = std::min(0.999, std::erf(kRight_deg * kRange / (half_width + 1.0) / std::numbers::sqrt2));
    return tdc;
}

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
    // run-out, twist. To be told, the smaller one must be sure.
    constexpr double kSure = 0.99;
    const bool nested = 2 * layout.cylinders() <= kUsual && engine.confidence <= kSure;
    // Where gas exchange cancels compression at the firings' own wave, an engine looks like one of twice as many cylinders.
    const bool doubled = layout.even() && layout.cylinders() > kUsual && engine.confidence <= kSure;
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

void fill_tdc(const Layout& layout, const std::vector<Case>& cases, const CylinderSpectra& spectra,
              const CycleSpectrum& spectrum, const EngineFinding& engine, TdcFinding& tdc) {
    tdc = place_tdc(Candidate(layout, spectra, cases, spectrum.waves), cases, spectrum);
    tdc.confidence *= engine.confidence;
    // Nobody knows where in the cycle fuel burns, nor whether it does all along: a guess.
    constexpr double kGuess = 0.9;
    if (!tdc.fuel_cut) tdc.confidence = std::min(tdc.confidence, kGuess);
    tdc.sureness = layout_sureness(tdc.confidence);
    tdc.why = tdc.fuel_cut ? "Without fuel the crank is slowest where a piston stands at TDC after compression."
                           : "Compression slows the crank before TDC, combustion speeds it up behind.";
    if (!tdc.fuel_cut)
        tdc.raise =
            "Record a fuel cut (foot off the pedal in gear, from high speed) and tell when it was: it takes combustion "
            "out of the question.";
    else if (tdc.sureness == Sureness::not_sure)
        tdc.raise = "Record a longer fuel cut down to low speed, where pistons and torsion disturb least.";
    else
        tdc.raise.clear();
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
    std::vector<Case> cases;
    constexpr double kFaint = 25.0;  // five standard errors
    const std::vector<Contrast> differences = contrasts(spectrum);
    for (const Contrast& contrast : differences) {
        if (!contrast.motored) continue;
        Case each = make_case(spectrum, contrast.point, true);
        if (each.strength > kFaint) cases.push_back(std::move(each));
    }
    // Without two speeds without fuel, all that is there.
    if (cases.empty())
        for (const SpectrumPoint& point : spectrum.points) {
            Case each = make_case(spectrum, point, false);
            if (each.strength > kFaint) cases.push_back(std::move(each));
        }
    if (cases.empty()) {
        search.tdc.why = "At these speeds the crank's twist hides where compression stands.";
        search.tdc.raise = "Record idle, and a fuel cut down to low speed.";
        return search;
    }
    fill_tdc(*scores.front().layout, cases, spectra, spectrum, search.engine, search.tdc);
    return search;
}

}  // namespace kurbel::discover
