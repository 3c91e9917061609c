#include "discover/motored_tdc.hpp"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <limits>

#include "discover/burning_waves.hpp"
#include "discover/motored_wave.hpp"
#include "kurbel/core/slider_crank.hpp"

namespace kurbel::discover {

namespace {

using Complex = std::complex<double>;
using Eigen::Matrix2d;
using Eigen::Vector2d;

/// Force of pressure over that of masses: 1 bar x piston area x crank radius over reciprocating mass x squared radius, rad^2/s^2, from bores,
/// strokes and masses of usual engines, motorcycles to lorries (from memory). Spreads are of logarithms.
constexpr double kUsualForce = 2.2e4;
constexpr double kForceSpread = 0.9;
constexpr double kMassSpread = 0.7;

double square(const Matrix2d& w, double m, double r) {
    return w(0, 0) * m * m + 2.0 * w(0, 1) * m * r + w(1, 1) * r * r;
}

/// Squared standard errors as a quadratic form in gas k and masses mu: rest - 2 (k a + mu b) + k^2 aa + 2 k mu ab + mu^2 bb. Both are
/// positive and known by their order of size: u = log mu, v = log(k / mu).
struct Form {
    double rest = 0.0;
    double a = 0.0;
    double b = 0.0;
    double aa = 0.0;
    double ab = 0.0;
    double bb = 0.0;
    double usual_u = 0.0;
    double usual_v = std::log(kUsualForce);

    /// One axis of a wave: what was seen, and what unit gas and unit masses would make.
    void add(const Matrix2d& w, double middle, double rise, double gas, double masses) {
        rest += square(w, middle, rise);
        a += gas * (w(0, 0) * middle + w(0, 1) * rise);
        b += masses * (w(0, 0) * middle + w(0, 1) * (middle + rise) + w(1, 1) * rise);
        aa += w(0, 0) * gas * gas;
        ab += (w(0, 0) + w(0, 1)) * gas * masses;
        bb += w.sum() * masses * masses;
    }

    /// Half the squared standard errors, those of what engines are built like included.
    [[nodiscard]] double value(double u, double v) const {
        const double mu = std::exp(u);
        const double k = std::exp(u + v);
        const double unusual = std::pow((u - usual_u) / kMassSpread, 2) + std::pow((v - usual_v) / kForceSpread, 2);
        return 0.5 * (rest + k * k * aa + mu * mu * bb + unusual) + k * mu * ab - k * a - mu * b;
    }

    /// -log of the integral over k and mu (Laplace's approximation), up to a constant.
    [[nodiscard]] double marginal() const;
};

double Form::marginal() const {
    double best = std::numeric_limits<double>::infinity();
    double u = usual_u;
    double v = usual_v;
    constexpr int kSteps = 4;
    constexpr double kStep = 0.6;
    for (int i = -kSteps; i <= kSteps; ++i)
        for (int j = -kSteps; j <= kSteps; ++j) {
            const double here_u = usual_u + kStep * i * kMassSpread;
            const double here_v = usual_v + kStep * j * kForceSpread;
            const double here = value(here_u, here_v);
            if (here >= best) continue;
            best = here;
            u = here_u;
            v = here_v;
        }
    Matrix2d hessian = Matrix2d::Identity();
    constexpr int kRounds = 8;
    for (int round = 0; round < kRounds; ++round) {
        const double mu = std::exp(u);
        const double k = std::exp(u + v);
        const double by_k = k * (k * aa + mu * ab - a);
        const double by_mu = mu * (mu * bb + k * ab - b);
        const Vector2d gradient(by_k + by_mu + (u - usual_u) / (kMassSpread * kMassSpread),
                                by_k + (v - usual_v) / (kForceSpread * kForceSpread));
        // Gauss and Newton's: without the curvature of the exponentials it stays positive.
        hessian(0, 0) = k * k * aa + 2.0 * k * mu * ab + mu * mu * bb + 1.0 / (kMassSpread * kMassSpread);
        hessian(0, 1) = hessian(1, 0) = k * k * aa + k * mu * ab;
        hessian(1, 1) = k * k * aa + 1.0 / (kForceSpread * kForceSpread);
        const Vector2d step = hessian.ldlt().solve(gradient);
        double share = 1.0;
        constexpr double kLeast = 1e-3;
        while (share > kLeast && !(value(u - share * step[0], v - share * step[1]) <= best)) share *= 0.5;
        if (share <= kLeast) break;
        u -= share * step[0];
        v -= share * step[1];
        best = value(u, v);
        if (share * step.norm() < 1e-4) break;
    }
    return best + 0.5 * std::log(hessian.determinant());
}

/// One layout, ready to be tried at every place.
class Trial {
  public:
    Trial(const Layout& layout, const CycleSpectrum& spectrum, const CylinderSpectra& spectra, int teeth,
          const std::vector<std::size_t>& used)
        : layout_(layout), line_(spectrum.motored), spectra_(spectra) {
        const double largest = largest_gas(line_, used);
        for (const std::size_t h : used) {
            Complex sum = 0.0;
            for (const double deg : layout.firing_tdc_deg)
                sum += std::polar(1.0, -0.5 * static_cast<double>(h + 1) * to_rad(deg));
            together_.push_back(sum);
            const double coherence = std::norm(sum) / (layout.cylinders() * layout.cylinders());
            waves_.push_back(weighed(line_, h, largest, teeth, layout, coherence, std::abs(spectra.inertia()[h])));
            log_det_ += waves_.back().log_det;
        }
    }

    [[nodiscard]] MotoredFit fit(const std::vector<BurningWaves>& burns) const {
        MotoredFit fit{&layout_, 0.0, 0.0, {}};
        const auto places = static_cast<int>(std::lround(layout_.period_deg));
        std::vector<double> log_chance;
        double least = std::numeric_limits<double>::infinity();
        for (int place = 0; place < places; ++place) {
            log_chance.push_back(at(place, least));
            // Points of one engine are no independent witnesses.
            for (const BurningWaves& burn : burns)
                log_chance.back() += burn.log_chance(spectra_.shapes(false), together_, layout_, place) /
                                     static_cast<double>(burns.size());
        }
        fit.misfit = least / (4.0 * static_cast<double>(waves_.size()));
        const double top = *std::max_element(log_chance.begin(), log_chance.end());
        // Errors that turn out larger than thought make everything less sure.
        const double cooler = 1.0 / std::max(1.0, fit.misfit);
        double sum = 0.0;
        for (const double value : log_chance) {
            fit.chance.push_back(std::exp(cooler * (value - top)));
            sum += fit.chance.back();
        }
        for (double& value : fit.chance) value /= sum;
        fit.log_evidence = top + std::log(sum / places) - log_det_;
        return fit;
    }

    /// As if nothing of the layout showed.
    [[nodiscard]] MotoredFit nothing(const std::vector<BurningWaves>& burns) const {
        MotoredFit fit{nullptr, -log_det_, 0.0, {}};
        for (const MotoredWave& wave : waves_) {
            const Matrix2d mean = 0.5 * (wave.along + wave.across);
            fit.log_evidence -= 0.5 * (square(mean, wave.middle.real(), wave.rise.real()) +
                                       square(mean, wave.middle.imag(), wave.rise.imag()));
        }
        const std::vector<Complex> none(waves_.size());
        for (const BurningWaves& burn : burns)
            fit.log_evidence +=
                burn.log_chance(spectra_.shapes(false), none, layout_, 0.0) / static_cast<double>(burns.size());
        return fit;
    }

  private:
    /// log of the chance of the motored waves with the first TDC at `deg`, summed over intake pressures.
    [[nodiscard]] double at(double deg, double& least) const {
        std::vector<Complex> back;
        for (std::size_t i = 0; i < waves_.size(); ++i) {
            // What a piston does symmetrically about its TDC becomes real.
            const double size = std::abs(together_[i]);
            const Complex ahead = size > 1e-6 ? std::conj(together_[i]) / size : Complex(1.0);
            back.push_back(ahead * std::polar(1.0, 0.5 * static_cast<double>(waves_[i].h + 1) * to_rad(deg)));
        }
        std::vector<double> each;
        for (const GasShape& gas : spectra_.shapes(true)) {
            Form form;
            form.usual_u = std::log(kUsualMassShare / layout_.cylinders());
            for (std::size_t i = 0; i < waves_.size(); ++i) {
                const MotoredWave& wave = waves_[i];
                const Complex middle = wave.middle * back[i];
                const Complex rise = wave.rise * back[i];
                const double size = std::abs(together_[i]);
                const Complex compression = size * gas.scale * gas.wave[wave.h];
                const Complex masses = size * line_.energy * spectra_.inertia()[wave.h];
                form.add(wave.along, middle.real(), rise.real(), compression.real(), masses.real());
                form.add(wave.across, middle.imag(), rise.imag(), compression.imag(), masses.imag());
            }
            each.push_back(-form.marginal());
            least = std::min(least, -2.0 * each.back());
        }
        const double top = *std::max_element(each.begin(), each.end());
        double sum = 0.0;
        for (const double value : each) sum += std::exp(value - top);
        return top + std::log(sum / static_cast<double>(each.size()));
    }

    const Layout& layout_;
    const MotoredLine& line_;
    const CylinderSpectra& spectra_;
    std::vector<MotoredWave> waves_;
    std::vector<Complex> together_;
    double log_det_ = 0.0;
};

}  // namespace

std::vector<MotoredFit> fit_motored(const CycleSpectrum& spectrum, const CylinderSpectra& spectra, int teeth) {
    std::vector<MotoredFit> fits;
    if (!spectrum.motored.found()) return fits;
    const std::vector<std::size_t> used = usable_waves(spectrum);
    constexpr std::size_t kFewestWaves = 2;
    if (used.size() < kFewestWaves) return fits;
    std::vector<BurningWaves> burns;
    for (const SpectrumPoint& point : spectrum.points)
        if (!point.motored) burns.emplace_back(spectrum.motored, point, used);
    for (const Layout& layout : layouts())
        if (shows_firings(layout, spectrum.waves))
            fits.push_back(Trial(layout, spectrum, spectra, teeth, used).fit(burns));
    std::sort(fits.begin(), fits.end(),
              [](const MotoredFit& a, const MotoredFit& b) { return a.log_evidence > b.log_evidence; });
    static const Layout kMany{"hidden", {0.0, 90.0, 180.0, 270.0, 360.0, 450.0, 540.0, 630.0}, 90.0};
    if (!fits.empty()) fits.push_back(Trial(kMany, spectrum, spectra, teeth, used).nothing(burns));
    return fits;
}

}  // namespace kurbel::discover
