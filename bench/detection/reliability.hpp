// Whether `probability` means what it says: firings sorted by it, and the share of them that really had lost half of their work.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "firings.hpp"
#include "kurbel/study/score.hpp"

namespace kurbel_detection {

/// Bounds between the bins of probability: fine at both ends, where verdicts are made.
inline constexpr std::array<double, 21> kReliabilityBounds{0.0, 1e-6, 1e-5, 1e-4, 1e-3,  0.01,   0.05,
                                                           0.1, 0.2,  0.3,  0.4,  0.5,   0.6,    0.7,
                                                           0.8, 0.9,  0.95, 0.99, 0.999, 0.9999, 1.0};

class Reliability {
  public:
    struct Bin {
        kurbel::Share lost{};  ///< of the judged firings in this bin: had really lost half
        double probability_sum = 0.0;

        [[nodiscard]] double mean_probability() const noexcept {
            return lost.of > 0 ? probability_sum / static_cast<double>(lost.of) : kurbel::kUnknown;
        }
        /// Whether the mean probability lies within the exact interval of the share; true of an empty bin.
        [[nodiscard]] bool holds() const noexcept;
    };
    static constexpr std::size_t kBins = kReliabilityBounds.size() - 1;

    /// Counts a recording's judged firings. Lost: a misfire or a weak burn.
    void add(const std::vector<Firing>& firings);
    void add(const Reliability& other) noexcept;

    [[nodiscard]] const std::array<Bin, kBins>& bins() const noexcept { return bins_; }
    [[nodiscard]] std::int64_t firings() const noexcept;

  private:
    std::array<Bin, kBins> bins_{};
};

/// A row a bin, with a header.
[[nodiscard]] std::string reliability_csv(const Reliability& reliability);

/// The same as a Markdown table.
[[nodiscard]] std::string reliability_markdown(const Reliability& reliability);

}  // namespace kurbel_detection
