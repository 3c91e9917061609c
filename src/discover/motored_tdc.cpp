#include "discover/motored_tdc.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "discover/burning_waves.hpp"
#include "discover/motored_form.hpp"
#include "discover/motored_wave.hpp"
#include "kurbel/core/slider_crank.hpp"

namespace kurbel::discover {

namespace {

using Complex = std::complex<double>;

/// One layout, ready to be tried at every place.
class Trial {
  public:
    Trial(const Layout& layout, const CycleSpectrum& spectrum, const CylinderSpectra& spectra,
          const std::vector<std::size_t>& used)
        : layout_(layout), spectra_(spectra) {
        const double largest = largest_gas(spectrum.motored, used);
        for (const std::size_t h : used) {
            Complex sum = 0.0;
            for (const double deg : layout.firing_tdc_deg)
                sum += std::polar(1.0, -0.5 * static_cast<double>(h + 1) * to_rad(deg));
            together_.push_back(sum);
            const double coherence = std::norm(sum) / (layout.cylinders() * layout.cylinders());
            for (Hypothesis& each : hypotheses_) {
                each.waves.push_back(
                    weighed(spectrum, h, largest, layout, coherence, std::abs(spectra.inertia()[h]), each.bending));
                each.log_chance -= each.waves.back().log_det;
            }
            figures_ += 2.0 * static_cast<double>(hypotheses_.front().waves.back().bins);
        }
    }

    [[nodiscard]] MotoredFit fit(const std::vector<BurningWaves>& burns) const {
        MotoredFit fit{&layout_, 0.0, 0.0, {}};
        const auto places = static_cast<int>(std::lround(layout_.period_deg));
        std::vector<double> log_chance;
        Best best;
        for (int place = 0; place < places; ++place) {
            log_chance.push_back(at(place, best));
            // Points of one engine are no independent witnesses.
            for (const BurningWaves& burn : burns)
                log_chance.back() +=
                    burn.log_chance(spectra_.burns(), together_, layout_, place) / static_cast<double>(burns.size());
        }
        fit.misfit = best.misfit;
        const double top = *std::max_element(log_chance.begin(), log_chance.end());
        // Errors that turn out larger than thought make everything less sure.
        const double cooler = 1.0 / std::max(1.0, fit.misfit);
        double sum = 0.0;
        for (const double value : log_chance) {
            fit.chance.push_back(std::exp(cooler * (value - top)));
            sum += fit.chance.back();
        }
        for (double& value : fit.chance) value /= sum;
        fit.log_evidence = top + std::log(sum / places);
        return fit;
    }

    /// As if nothing of the layout showed.
    [[nodiscard]] MotoredFit nothing(const std::vector<BurningWaves>& burns) const {
        MotoredFit fit{nullptr, 0.0, 0.0, {}};
        std::vector<double> each;
        for (const Hypothesis& hypothesis : hypotheses_) {
            each.push_back(hypothesis.log_chance);
            // Either part of the phasor may be the one along.
            for (const MotoredWave& wave : hypothesis.waves)
                for (const WaveAxis& axis : {wave.along, wave.across})
                    each.back() -= 0.25 * (axis.real_real + axis.imaginary_imaginary);
        }
        fit.log_evidence = log_sum(each);
        const std::vector<Complex> none(together_.size());
        for (const BurningWaves& burn : burns)
            fit.log_evidence +=
                burn.log_chance(spectra_.burns(), none, layout_, 0.0) / static_cast<double>(burns.size());
        return fit;
    }

  private:
    struct Hypothesis {
        Bending bending;
        double log_chance;
        std::vector<MotoredWave> waves;
    };
    struct Best {
        double log_chance = -std::numeric_limits<double>::infinity();
        double misfit = 0.0;
    };

    /// log of the chance of the motored waves with the first TDC at `deg`, summed over intake pressures and drivelines.
    [[nodiscard]] double at(double deg, Best& best) const {
        std::vector<Complex> back;
        for (std::size_t i = 0; i < together_.size(); ++i) {
            // What a piston does symmetrically about its TDC becomes real.
            const double size = std::abs(together_[i]);
            const Complex ahead = size > 1e-6 ? std::conj(together_[i]) / size : Complex(1.0);
            const auto wave = static_cast<double>(hypotheses_.front().waves[i].h + 1);
            back.push_back(ahead * std::polar(1.0, 0.5 * wave * to_rad(deg)));
        }
        std::vector<double> each;
        for (const Hypothesis& hypothesis : hypotheses_) {
            std::vector<WaveSums> along;
            std::vector<WaveSums> across;
            for (std::size_t i = 0; i < together_.size(); ++i) {
                along.push_back(hypothesis.waves[i].along.turned(back[i].real(), -back[i].imag()));
                across.push_back(hypothesis.waves[i].across.turned(back[i].imag(), back[i].real()));
            }
            for (const GasShape& gas : spectra_.shapes(true)) {
                SeenForm form(kUsualMassShare / layout_.cylinders());
                for (std::size_t i = 0; i < together_.size(); ++i) {
                    const std::size_t h = hypothesis.waves[i].h;
                    const double size = std::abs(together_[i]);
                    const Complex compression = size * gas.scale * gas.wave[h];
                    const Complex masses = size * spectra_.inertia()[h];
                    form.add(along[i], compression.real(), masses.real());
                    form.add(across[i], compression.imag(), masses.imag());
                }
                const double left = form.marginal();
                each.push_back(hypothesis.log_chance - left);
                if (each.back() > best.log_chance) best = {each.back(), 2.0 * left / figures_};
            }
        }
        return log_sum(each) - std::log(static_cast<double>(spectra_.shapes(true).size()));
    }

    [[nodiscard]] static double log_sum(const std::vector<double>& logs) {
        const double top = *std::max_element(logs.begin(), logs.end());
        double sum = 0.0;
        for (const double value : logs) sum += std::exp(value - top);
        return top + std::log(sum);
    }

    const Layout& layout_;
    const CylinderSpectra& spectra_;
    /// Quiet, with a soft driveline, with a soft crank and heavy pistons; and how usual that is (judged; no source).
    std::vector<Hypothesis> hypotheses_{
        {{0.1, 0.05}, std::log(0.6), {}}, {{0.5, 0.05}, std::log(0.2), {}}, {{0.2, 0.2}, std::log(0.2), {}}};
    std::vector<Complex> together_;
    double figures_ = 0.0;  ///< that were seen
};

}  // namespace

std::vector<MotoredFit> fit_motored(const CycleSpectrum& spectrum, const CylinderSpectra& spectra) {
    std::vector<MotoredFit> fits;
    if (!spectrum.motored.found()) return fits;
    const std::vector<std::size_t> used = usable_waves(spectrum);
    constexpr std::size_t kFewestWaves = 2;
    if (used.size() < kFewestWaves) return fits;
    std::vector<BurningWaves> burns;
    for (const SpectrumPoint& point : spectrum.fired) burns.emplace_back(spectrum.motored, point, used);
    for (const Layout& layout : layouts())
        if (shows_firings(layout, spectrum.waves)) fits.push_back(Trial(layout, spectrum, spectra, used).fit(burns));
    std::sort(fits.begin(), fits.end(),
              [](const MotoredFit& a, const MotoredFit& b) { return a.log_evidence > b.log_evidence; });
    static const Layout kMany{"hidden", {0.0, 90.0, 180.0, 270.0, 360.0, 450.0, 540.0, 630.0}, 90.0};
    if (!fits.empty()) fits.push_back(Trial(kMany, spectrum, spectra, used).nothing(burns));
    return fits;
}

}  // namespace kurbel::discover
