#include "discover/layout_search.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>

#include "discover/cylinder_spectra.hpp"
#include "discover/layouts.hpp"
#include "kurbel/core/slider_crank.hpp"

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
constexpr double kPitch_deg = 0.1;
/// Pistons of all cylinders over the whole inertia, at most (common practice, no source).
constexpr double kMostInertia = 0.04;
constexpr int kInertias = 5;
constexpr double kPlausible = 9.0;  ///< squared standard errors

/// One point, ready for the search.
struct Case {
    const SpectrumPoint* point;
    std::vector<double> variance;  ///< without what depends on the layout; infinite: not used
    double largest = 0.0;          ///< wave
    double strength = 0.0;         ///< squared standard errors that there are to explain
};

Case make_case(const CycleSpectrum& spectrum, const SpectrumPoint& point, int teeth) {
    Case result{&point, {}, 0.0, 0.0};
    const double speed_hz = std::sqrt(2.0 * point.energy) / (2.0 * std::numbers::pi);
    const auto usable = [&](std::size_t h) {
        return spectrum.told[h] && 0.5 * static_cast<double>(h + 1) * speed_hz < kTorsion_hz;
    };
    for (std::size_t h = 0; h < point.phasor.size(); ++h)
        if (usable(h)) result.largest = std::max(result.largest, std::abs(point.phasor[h]));
    const double pitch = to_rad(kPitch_deg) * std::sqrt(2.0 / teeth);
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
        if (h % 2 == 1) variance += std::pow(2.0 * point.energy * order * pitch, 2);
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
        double square = 0.0;
        std::array<std::complex<double>, 32> rest{};
        for (std::size_t h = 0; h < point.phasor.size(); ++h) {
            const auto turn = std::polar(1.0, 0.5 * static_cast<double>(h + 1) * to_rad(deg));
            rest[h] = point.phasor[h] * turn - point.energy * ratio * spectra_->inertia()[h] * together_[h];
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

struct Scored {
    const Candidate* candidate;
    double misfit;
};

double least_misfit(const Candidate& candidate, double step_deg) {
    double least = std::numeric_limits<double>::infinity();
    const double period = candidate.layout().period_deg;
    const int places = static_cast<int>(std::ceil(period / step_deg));
    for (int i = 0; i < places; ++i) least = std::min(least, candidate.misfit(period * i / places, false));
    return least;
}

/// The shortest arc that holds all marked places of a circle: its first place, and how many.
std::pair<std::size_t, std::size_t> shortest_arc(const std::vector<bool>& marked) {
    const std::size_t places = marked.size();
    std::size_t longest = 0;
    std::size_t begin = 0;
    std::size_t gap = 0;
    for (std::size_t i = 0; i < 2 * places; ++i) {
        if (!marked[i % places]) {
            ++gap;
            continue;
        }
        if (gap > longest) {
            longest = gap;
            begin = i % places;
        }
        gap = 0;
    }
    return {begin, places - std::min(longest, places)};
}

TdcFinding place_tdc(const Candidate& candidate, const std::vector<Case>& cases, bool phase_known) {
    TdcFinding tdc;
    tdc.fuel_cut = std::any_of(cases.begin(), cases.end(), [](const Case& each) { return each.point->motored; });
    const double period = candidate.layout().period_deg;
    // Without a cam the two revolutions are told by the engine alone, or not at all: then degrees count within one.
    const bool turn_holds = std::abs(std::remainder(360.0, period)) < 0.5;
    tdc.period_deg = phase_known || turn_holds ? period : 0.5 * period > 179.0 ? 360.0 : 0.5 * period;
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
    const double half_width = 0.5 * (tdc.high_deg - tdc.low_deg);
    // A range of three standard errors; right means within ten degrees.
    constexpr double kRight_deg = 10.0;
    constexpr double kRange = 3.0;
    tdc.confidence = std::min(0.999, std::erf(kRight_deg * kRange / (half_width + 1.0) / std::numbers::sqrt2));
    return tdc;
}

}  // namespace

LayoutSearch search_layout(const CycleSpectrum& spectrum, const WheelFinding& wheel, const CamFinding& cam) {
    LayoutSearch search;
    EngineFinding& engine = search.engine;
    TdcFinding& tdc = search.tdc;
    engine.raise =
        "Record a warm idle of half a minute, then a drive with a long fuel cut, with a wheel of many teeth.";
    tdc.raise = "Tell the engine first; then record a fuel cut (foot off the pedal in gear, from high speed).";
    std::vector<Case> cases;
    constexpr double kFaint = 25.0;  // five standard errors
    for (const SpectrumPoint& point : spectrum.points) {
        Case each = make_case(spectrum, point, wheel.teeth);
        if (each.strength > kFaint) cases.push_back(std::move(each));
    }
    constexpr int kFewestWaves = 4;
    if (cases.empty() || spectrum.waves < kFewestWaves) {
        engine.why = spectrum.waves < kFewestWaves ? "The wheel has too few teeth to show single firings."
                     : spectrum.points.empty()     ? "Too few whole engine cycles were seen."
                                                   : "Nothing in the crank's motion stands out from its scatter.";
        tdc.why = "The engine is not known.";
        return search;
    }
    const CylinderSpectra spectra(spectrum.waves);
    std::vector<Candidate> candidates;
    candidates.reserve(layouts().size());
    for (const Layout& layout : layouts()) {
        // One firing wave must show, and something beside it.
        if (720.0 / layout.period_deg + 2.0 > spectrum.waves) continue;
        candidates.emplace_back(layout, spectra, cases, spectrum.waves);
    }
    std::vector<Scored> scored;
    for (const Candidate& candidate : candidates) {
        const double step_deg = std::min(10.0, 0.05 * candidate.layout().period_deg + 1.0);
        scored.push_back({&candidate, least_misfit(candidate, step_deg)});
    }
    std::sort(scored.begin(), scored.end(), [](const Scored& a, const Scored& b) { return a.misfit < b.misfit; });
    const Layout& layout = scored.front().candidate->layout();
    double strength = 0.0;
    double waves = 0.0;
    for (const Case& each : cases) {
        strength += each.strength;
        for (const double variance : each.variance) waves += std::isfinite(variance) ? 1.0 : 0.0;
    }
    const double best = scored.front().misfit;
    const double margin = scored.size() > 1 ? scored[1].misfit - best : 0.0;
    engine.cylinders = layout.cylinders();
    engine.even = layout.even();
    engine.firing_tdc_deg = layout.firing_tdc_deg;
    engine.layout = layout.name;
    // Errors of the model are the same at all points: so the margin counts as of one.
    const double per_point = margin / static_cast<double>(cases.size());
    engine.confidence = 1.0 / (1.0 + std::exp(-0.5 * std::max(0.0, per_point - 2.0)));
    const bool explained = best < 4.0 * waves;
    if (!explained) engine.confidence = std::min(engine.confidence, 0.7);
    engine.sureness = engine.confidence > 0.99  ? Sureness::sure
                      : engine.confidence > 0.9 ? Sureness::likely
                                                : Sureness::not_sure;
    engine.strokes = cam.tells_cycle ? 4 : 0;
    engine.why = "The crank's speed swings as with " + std::to_string(engine.cylinders) +
                 (engine.cylinders == 1 ? " firing" : " firings") + " in two revolutions, " + layout.name + ".";
    if (engine.sureness != Sureness::sure)
        engine.raise = std::string("Next best: ") +
                       std::to_string(scored[scored.size() > 1 ? 1 : 0].candidate->layout().cylinders()) + ", " +
                       scored[scored.size() > 1 ? 1 : 0].candidate->layout().name +
                       ". Count the cylinders; or record a warm idle and a fuel cut.";
    else
        engine.raise.clear();

    tdc = place_tdc(*scored.front().candidate, cases, spectrum.phase_known);
    tdc.confidence *= engine.confidence;
    tdc.sureness = engine.sureness == Sureness::not_sure ? Sureness::not_sure
                   : tdc.confidence > 0.99               ? Sureness::sure
                   : tdc.confidence > 0.9                ? Sureness::likely
                                                         : Sureness::not_sure;
    tdc.why = tdc.fuel_cut ? "Without fuel the crank is slowest where a piston stands at TDC after compression."
                           : "Compression slows the crank before TDC and combustion speeds it up behind.";
    tdc.raise = tdc.fuel_cut ? ""
                             : "Record a fuel cut (foot off the pedal in gear, from high speed): it takes combustion "
                               "out of the question.";
    return search;
}

}  // namespace kurbel::discover
