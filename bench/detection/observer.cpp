#include "observer.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <cmath>
#include <cstddef>
#include <vector>

namespace kurbel_detection {

namespace {

constexpr double kBefore_deg = 96.0;
constexpr double kIntervalsAfter = 3.0;
constexpr double kRidge = 1e-4;
constexpr int kParts = 16;
constexpr std::size_t kFewest = 4;  // misfires, and a cylinder's healthy firings, that teach anything

struct Sample {
    std::size_t firing = 0;
    bool misfire = false;
    int cylinder = 0;
    int half = 0;
    Eigen::VectorXd x;
};

std::vector<Sample> samples_of(const Bins& bins, const std::vector<Firing>& firings, Level level) {
    const double interval_deg = bins.grid.bin_deg * bins.grid.bins / bins.grid.firings;
    const auto before = static_cast<std::ptrdiff_t>(std::ceil(kBefore_deg / bins.grid.bin_deg - 1e-9));
    const auto after =
        static_cast<std::ptrdiff_t>(std::ceil(kIntervalsAfter * interval_deg / bins.grid.bin_deg - 1e-9));
    std::vector<Sample> samples;
    for (std::size_t i = 0; i < firings.size(); ++i) {
        const Truth kind = firings[i].kind;
        if ((kind != Truth::healthy && kind != Truth::misfire) || !bins.whole(i, -before, after)) continue;
        Sample sample{i, kind == Truth::misfire, firings[i].truth.cylinder,
                      static_cast<int>(i * kParts / firings.size()) % 2, Eigen::VectorXd(before + after)};
        for (std::ptrdiff_t b = -before; b < after; ++b) sample.x[b + before] = bins.energy(i, b);
        if (level == Level::relative) sample.x.array() -= sample.x.head(before).mean();
        samples.push_back(std::move(sample));
    }
    return samples;
}

/// Medians of the chosen samples, feature by feature; empty where there are too few.
template <class Chosen>
Eigen::VectorXd medians(const std::vector<Sample>& samples, Chosen&& chosen) {
    std::vector<const Sample*> some;
    for (const Sample& sample : samples)
        if (chosen(sample)) some.push_back(&sample);
    if (some.size() < kFewest) return {};
    Eigen::VectorXd result(some.front()->x.size());
    std::vector<double> values(some.size());
    for (Eigen::Index f = 0; f < result.size(); ++f) {
        for (std::size_t i = 0; i < some.size(); ++i) values[i] = some[i]->x[f];
        result[f] = median(values);
    }
    return result;
}

class Discriminant {
  public:
    /// Learns from the samples of one half.
    Discriminant(const std::vector<Sample>& samples, int half, int cylinders) {
        const Eigen::VectorXd all = medians(samples, [&](const Sample& s) { return s.half == half && !s.misfire; });
        if (all.size() == 0) return;
        for (int c = 1; c <= cylinders; ++c) {
            usual_.push_back(
                medians(samples, [&](const Sample& s) { return s.half == half && !s.misfire && s.cylinder == c; }));
            if (usual_.back().size() == 0) usual_.back() = all;
        }
        fit(samples, half, all.size());
    }

    [[nodiscard]] bool ready() const noexcept { return weights_.size() > 0; }

    /// Distance from midway between the classes, in standard deviations.
    [[nodiscard]] double score(const Sample& sample) const { return weights_.dot(centred(sample)) - offset_; }

  private:
    [[nodiscard]] Eigen::VectorXd centred(const Sample& sample) const {
        return sample.x - usual_[static_cast<std::size_t>(sample.cylinder - 1)];
    }

    void fit(const std::vector<Sample>& samples, int half, Eigen::Index size) {
        Eigen::VectorXd mean[2] = {Eigen::VectorXd::Zero(size), Eigen::VectorXd::Zero(size)};
        std::size_t count[2] = {0, 0};
        for (const Sample& sample : samples) {
            if (sample.half != half) continue;
            mean[sample.misfire] += centred(sample);
            ++count[sample.misfire];
        }
        if (count[0] < kFewest || count[1] < kFewest) return;
        for (const int c : {0, 1}) mean[c] /= static_cast<double>(count[c]);
        Eigen::MatrixXd covariance = Eigen::MatrixXd::Zero(size, size);
        for (const Sample& sample : samples)
            if (sample.half == half)
                covariance.selfadjointView<Eigen::Lower>().rankUpdate(
                    Eigen::VectorXd(centred(sample) - mean[sample.misfire]));
        covariance /= static_cast<double>(count[0] + count[1] - 2);
        covariance.diagonal().array() += kRidge * covariance.trace() / static_cast<double>(size);
        const Eigen::VectorXd apart = mean[1] - mean[0];
        weights_ = covariance.selfadjointView<Eigen::Lower>().ldlt().solve(apart);
        const double deviation = std::sqrt(std::max(weights_.dot(apart), 1e-300));
        weights_ /= deviation;
        offset_ = 0.5 * weights_.dot(mean[0] + mean[1]);
    }

    std::vector<Eigen::VectorXd> usual_;  // healthy, by cylinder
    Eigen::VectorXd weights_;
    double offset_ = 0.0;
};

}  // namespace

Scores observe(const Bins& bins, const std::vector<Firing>& firings, Level level) {
    Scores scores(firings.size(), kurbel::kUnknown);
    const std::vector<Sample> samples = samples_of(bins, firings, level);
    for (const int half : {0, 1}) {
        const Discriminant learned(samples, half, bins.grid.firings);
        if (!learned.ready()) continue;
        for (const Sample& sample : samples)
            if (sample.half != half) scores[sample.firing] = learned.score(sample);
    }
    return scores;
}

}  // namespace kurbel_detection
