#include "discover/tdc_by_points.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "discover/motored_choice.hpp"
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

TdcFinding told_tdc(const Layout& layout, const std::vector<Case>& cases, const CylinderSpectra& spectra,
                    const CycleSpectrum& spectrum, double engine_confidence) {
    TdcFinding tdc = place_tdc(Candidate(layout, spectra, cases, spectrum.waves), cases, spectrum);
    tdc.confidence *= engine_confidence;
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
    return tdc;
}

}  // namespace

TdcFinding tdc_by_points(const Layout& layout, const CycleSpectrum& spectrum, const CylinderSpectra& spectra,
                         double engine_confidence) {
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
        TdcFinding tdc;
        tdc.why = "At these speeds the crank's twist hides where compression stands.";
        tdc.raise = "Record idle, and a fuel cut down to low speed.";
        return tdc;
    }
    return told_tdc(layout, cases, spectra, spectrum, engine_confidence);
}

}  // namespace kurbel::discover
