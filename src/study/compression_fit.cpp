#include "study/compression_fit.hpp"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "kurbel/core/slider_crank.hpp"
#include "study/cranked_model.hpp"

namespace kurbel {

namespace {

using namespace cranking;

constexpr double kExponent = 1.3;
constexpr double kExponentDoubt = 0.05;
constexpr double kTdcDoubt_deg = 1.5;
constexpr double kToothDoubt_deg = 0.15;
constexpr int kRounds = 15;
constexpr int kLooks = 2;
constexpr std::size_t kFarthestLike = 40;  ///< intervals
constexpr double kLeastSeen = 0.2;         ///< share of a repeated misfit that is left to be seen, at least
/// A starter's freewheel lets go above some speed (the knee), and its armature with it: about a tenth of the engine's inertia
/// (from memory). Below, a motor's torque may bend once more.
constexpr double kArmature = 0.1;
constexpr double kArmatureDoubt = 0.08;
constexpr double kKneeShares[] = {0.5, 0.7, 0.85, 0.97};

double square(double x) { return x * x; }

class Fitter {
  public:
    Fitter(const Config& config, const std::vector<CrankedCycle>& cycles, double half_deg)
        : config_(config),
          cycles_(cycles),
          cycle_deg_(config.engine.cycle_deg()),
          model_(config, cycles, half_deg),
          columns_(model_.columns()) {
        begin_values();
        for (const double share : kKneeShares) knees_.push_back(model_.speed_passed(share));
        now_.shared[columns_.knee()] = knees_[1];
        // Anywhere between dead slow and never reached.
        prior_[columns_.knee()] = 1.0 / square(0.3 * knees_[1]);
        centre_ = now_.shared;
        left_out_.assign(cycles_.size(), false);
        now_.local.assign(cycles_.size(), Eigen::Vector2d::Zero());
        for (std::size_t c = 0; c < cycles_.size(); ++c) now_.local[c][0] = cycles_[c].interval.front().energy;
    }

    CompressionFit run() {
        // From far away doubtful: what is known beforehand must not be given up to explain what is only not fitted yet. Then with
        // the scatter, and the likeness of neighbours, as it was seen.
        variance_ = square(0.5);
        descend();
        variance_ = square(0.1);
        find_knee();
        variance_ = square(0.02);
        descend();
        for (int look = 0; look < kLooks; ++look) {
            see_scatter();
            leave_out_strangers();
            descend();
        }
        return result();
    }

  private:
    void begin_values() {
        const int z = columns_.cylinders;
        now_.shared = Eigen::VectorXd::Zero(columns_.count());
        prior_ = Eigen::VectorXd::Zero(columns_.count());
        for (int k = 0; k < z; ++k) {
            now_.shared[columns_.trapped(k)] = 0.95;
            prior_[columns_.trapped(k)] = model_.sized() ? 1.0 / square(0.5) : 1e-4;
            prior_[columns_.leak(k)] = 1.0 / square(40.0);
        }
        now_.shared[columns_.exponent()] = kExponent;
        prior_[columns_.exponent()] = 1.0 / square(kExponentDoubt);
        // All pistons together have up to 4 % of the inertia (common practice, no source); told masses within a tenth.
        const EngineConfig& engine = config_.engine;
        const double told = 0.25e-6 * engine.reciprocating_kg * square(engine.stroke_mm) / engine.inertia_kg_m2;
        now_.shared[columns_.pistons()] = told > 0.0 ? told : 0.03 / z;
        prior_[columns_.pistons()] = 1.0 / square(told > 0.0 ? 0.1 * told : 0.015 / z);
        now_.shared[columns_.armature()] = kArmature;
        prior_[columns_.armature()] = 1.0 / square(kArmatureDoubt);
        prior_[columns_.tdc()] = 1.0 / square(kTdcDoubt_deg);
        for (int i = 0; i < columns_.teeth; ++i) prior_[columns_.tooth(i)] = 1.0 / square(to_rad(kToothDoubt_deg));
        centre_ = now_.shared;
    }

    /// All that a Gauss-Newton step needs, and the objective at the present values.
    struct Balance {
        std::vector<CycleModel> models;
        std::vector<Eigen::Matrix2d> solve;  ///< inverse of each cycle's own 2 x 2
        Eigen::MatrixXd normal;
        Eigen::VectorXd right;
        double objective = 0.0;
    };

    [[nodiscard]] double unit() const { return 1.0 / (variance_ * stretch_); }

    [[nodiscard]] Balance balance() const {
        const int size = columns_.count();
        Balance b;
        b.normal = Eigen::MatrixXd::Zero(size, size);
        b.right = Eigen::VectorXd::Zero(size);
        for (std::size_t c = 0; c < cycles_.size(); ++c) {
            b.models.push_back(model_.at(c, now_));
            const CycleModel& m = b.models.back();
            const Eigen::VectorXd weight = unit() * m.deviation.array().square().inverse();
            const Eigen::MatrixXd weighted_local = weight.asDiagonal() * m.local;
            b.solve.emplace_back((m.local.transpose() * weighted_local).inverse());
            if (left_out_[c]) continue;
            const Eigen::MatrixXd cross = weighted_local.transpose() * m.global;
            const Eigen::Vector2d own = weighted_local.transpose() * m.residual;
            b.normal += m.global.transpose() * weight.asDiagonal() * m.global - cross.transpose() * b.solve[c] * cross;
            b.right +=
                m.global.transpose() * (weight.asDiagonal() * m.residual) - cross.transpose() * (b.solve[c] * own);
            b.objective += m.residual.cwiseAbs2().dot(weight);
        }
        b.objective += prior_.dot((now_.shared - centre_).cwiseAbs2());
        b.right += prior_.cwiseProduct(centre_ - now_.shared);
        b.normal.diagonal() += prior_;
        return b;
    }

    /// Moves by the step that `stiffness` allows.
    void move(const Balance& b, double stiffness) {
        Eigen::MatrixXd normal = b.normal;
        normal.diagonal() *= 1.0 + stiffness;
        Eigen::VectorXd change = normal.ldlt().solve(b.right);
        // Exponent, leak and dead centre pull together: far steps of theirs leave the straight part.
        const double far =
            std::max({std::fabs(change[columns_.exponent()]) / 0.06, std::fabs(change[columns_.tdc()]) / 1.0,
                      std::fabs(change[columns_.knee()]) / (0.08 * now_.shared[columns_.knee()])});
        if (far > 1.0) change /= far;
        now_.shared += change;
        now_.shared[columns_.exponent()] = std::clamp(now_.shared[columns_.exponent()], 1.0, 1.6);
        for (std::size_t c = 0; c < cycles_.size(); ++c) {
            const CycleModel& m = b.models[c];
            const Eigen::VectorXd weight = unit() * m.deviation.array().square().inverse();
            now_.local[c] +=
                b.solve[c] * (m.local.transpose() * (weight.asDiagonal() * (m.residual - m.global * change)));
        }
        take_ambient();
    }

    /// Levenberg and Marquardt: a step that makes things worse is taken back and tried shorter.
    double descend() {
        Balance best = balance();
        double stiffness = 1e-6;
        for (int round = 0; round < kRounds; ++round) {
            const Values kept = now_;
            move(best, stiffness);
            Balance next = balance();
            if (next.objective > best.objective) {
                now_ = kept;
                stiffness = std::max(10.0 * stiffness, 1e-3);
                if (stiffness > 1e4) break;
                continue;
            }
            const bool done = best.objective - next.objective < 1e-4 * best.objective;
            best = std::move(next);
            stiffness *= 0.1;
            if (done) break;
        }
        covariance_ = best.normal.ldlt().solve(Eigen::MatrixXd::Identity(columns_.count(), columns_.count()));
        models_ = std::move(best.models);
        return best.objective;
    }

    /// The knee may lie in several places, of which a descent finds the nearest.
    void find_knee() {
        const Values begin = now_;
        Values best_values = now_;
        double best = std::numeric_limits<double>::infinity();
        for (const double knee : knees_) {
            now_.shared = begin.shared;
            now_.local = begin.local;
            now_.shared[columns_.knee()] = knee;
            const double objective = descend();
            if (objective >= best) continue;
            best = objective;
            best_values = now_;
        }
        now_.shared = best_values.shared;
        now_.local = best_values.local;
        take_ambient();
    }

    /// Scatter of the intervals about the model, and by how much neighbours' likeness widens what follows from many of them.
    void see_scatter() {
        double squares = 0.0;
        double number = -static_cast<double>(columns_.count());
        std::vector<double> lagged(kFarthestLike, 0.0);
        misfit_.assign(cycles_.size(), 0.0);
        for (std::size_t c = 0; c < cycles_.size(); ++c) {
            const CycleModel& m = models_[c];
            const Eigen::VectorXd scaled = m.residual.cwiseQuotient(m.deviation);
            misfit_[c] = scaled.squaredNorm() / static_cast<double>(scaled.size());
            if (left_out_[c]) continue;
            squares += scaled.squaredNorm();
            number += static_cast<double>(scaled.size()) - 2.0;
            for (std::size_t lag = 1; lag < lagged.size(); ++lag)
                for (Eigen::Index i = static_cast<Eigen::Index>(lag); i < scaled.size(); ++i)
                    lagged[lag] += scaled[i] * scaled[i - static_cast<Eigen::Index>(lag)];
        }
        variance_ = std::max(squares / std::max(number, 10.0), 1e-8);
        stretch_ = 1.0;
        for (std::size_t lag = 1; lag < lagged.size() && lagged[lag] > 0.0; ++lag)
            stretch_ += 2.0 * lagged[lag] / squares;
        stretch_ *= likeness_of_cycles(stretch_);
    }

    /// What the model does not hold is the same in every cycle: then many cycles tell no more of it than one does. Of so smooth a
    /// shape (`smooth` neighbours go together) the parameters take a part, which is seen no more in what is left.
    [[nodiscard]] double likeness_of_cycles(double smooth) const {
        constexpr int kPlaces = 360;
        std::vector<double> sum(kPlaces, 0.0);
        std::vector<double> square_sum(kPlaces, 0.0);
        std::vector<int> number(kPlaces, 0);
        for (std::size_t c = 0; c < cycles_.size(); ++c) {
            if (left_out_[c]) continue;
            const Eigen::VectorXd scaled = models_[c].residual.cwiseQuotient(models_[c].deviation);
            for (Eigen::Index i = 0; i < scaled.size(); ++i) {
                const CrankedInterval& interval = cycles_[c].interval[static_cast<std::size_t>(i)];
                const auto place = static_cast<std::size_t>((interval.begin_deg + 0.5 * interval.width_deg) *
                                                            (kPlaces - 1) / cycle_deg_);
                sum[place] += scaled[i];
                square_sum[place] += square(scaled[i]);
                ++number[place];
            }
        }
        double between_pairs = 0.0;
        double pairs = 0.0;
        double all = 0.0;
        double count = 0.0;
        for (std::size_t p = 0; p < sum.size(); ++p) {
            between_pairs += square(sum[p]) - square_sum[p];
            pairs += number[p] * (number[p] - 1.0);
            all += square_sum[p];
            count += number[p];
        }
        if (pairs < 1.0 || all <= 0.0) return 1.0;
        const double likeness = std::clamp(between_pairs / pairs / (all / count), 0.0, 1.0);
        const double shapes = static_cast<double>(cycles_.front().interval.size()) / smooth;
        const double seen = std::max(1.0 - columns_.tooth(0) / shapes, kLeastSeen);
        return 1.0 + (static_cast<double>(cycles_.size()) - 1.0) * likeness / seen;
    }

    /// Nothing tells the size: a throttle that stands open fills the best cylinder to ambient pressure.
    void take_ambient() {
        if (model_.sized()) return;
        double most = 0.0;
        for (int k = 0; k < columns_.cylinders; ++k) most = std::max(most, now_.shared[columns_.trapped(k)]);
        now_.ambient_bar = std::max(most, 1e-3);
    }

    /// A cycle in which something fired, or the starter let go, fits several times worse than the others.
    void leave_out_strangers() {
        std::vector<double> sorted = misfit_;
        std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2), sorted.end());
        const double usual = sorted[sorted.size() / 2];
        for (std::size_t c = 0; c < cycles_.size(); ++c) left_out_[c] = misfit_[c] > 6.0 * usual;
    }

    [[nodiscard]] CompressionFit result() const {
        CompressionFit fit;
        const int z = columns_.cylinders;
        fit.cylinders = z;
        double speed = 0.0;
        for (std::size_t c = 0; c < cycles_.size(); ++c) {
            if (left_out_[c]) {
                ++fit.left_out;
                continue;
            }
            ++fit.cycles;
            speed += to_rad(cycle_deg_) / cycles_[c].seconds;
            for (int k = 0; k < z; ++k) fit.exposure[static_cast<std::size_t>(k)] += models_[c].exposure[k];
        }
        const double used = std::max(fit.cycles, 1);
        fit.mean_rpm = speed / used * 30.0 / std::numbers::pi;
        for (int k = 0; k < z; ++k) {
            const auto at = static_cast<std::size_t>(k);
            fit.exposure[at] /= used;
            fit.trapped[at] = now_.shared[columns_.trapped(k)];
            fit.leak[at] = now_.shared[columns_.leak(k)];
        }
        fit.exponent = now_.shared[columns_.exponent()];
        fit.tdc_deg = now_.shared[columns_.tdc()];
        fit.ambient_bar = now_.ambient_bar;
        fit.scatter = std::sqrt(variance_);
        fit.stretch = stretch_;
        fit.covariance = covariance_.topLeftCorner(2 * z + 1, 2 * z + 1);
        fit.shown = cycles_.size() / 2;
        const Eigen::VectorXd fitted = model_.at(fit.shown, now_).fitted;
        fit.fitted.assign(fitted.data(), fitted.data() + fitted.size());
        return fit;
    }

    const Config& config_;
    const std::vector<CrankedCycle>& cycles_;
    double cycle_deg_;
    CrankedModel model_;
    Columns columns_;
    Values now_;
    Eigen::VectorXd centre_;
    Eigen::VectorXd prior_;  // inverse variances
    std::vector<double> knees_;
    std::vector<bool> left_out_;
    std::vector<double> misfit_;
    std::vector<CycleModel> models_;
    double variance_ = square(0.01);  // until the scatter has been seen
    double stretch_ = 1.0;
    Eigen::MatrixXd covariance_;
};

}  // namespace

CompressionFit fit_compression(const Config& config, const std::vector<CrankedCycle>& cycles, double half_deg) {
    return Fitter(config, cycles, half_deg).run();
}

double tdc_gauge_bar(const CompressionFit& fit, double bottom_over_clearance, int k, double trapped, double leak,
                     double exponent) {
    const double x = fit.exposure[static_cast<std::size_t>(k)];
    return trapped * std::pow(bottom_over_clearance, exponent) * std::exp(-leak * x) - fit.ambient_bar;
}

}  // namespace kurbel
