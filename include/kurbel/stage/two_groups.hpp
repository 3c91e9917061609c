// A few readings that fall in two groups: firings of one place, some of which lost their work.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>

namespace kurbel {

/// The cut in order of size that leaves least scatter within both parts (Fisher, "On grouping for maximum homogeneity", JASA 53, 1958, from
/// memory). Holds up to `kMost` readings; further ones are left out.
template <class Real, int kMost>
class TwoGroups {
  public:
    void add(Real value) noexcept {
        if (count_ < kMost) values_[static_cast<std::size_t>(count_++)] = value;
    }

    /// Finds the cut. False where there are fewer than two readings.
    [[nodiscard]] bool split() noexcept {
        if (count_ < 2) return false;
        std::sort(values_.begin(), values_.begin() + count_);
        Real all = 0;
        for (int i = 0; i < count_; ++i) all += values_[static_cast<std::size_t>(i)];
        Real lower_sum = 0;
        Real most = Real(-1);
        for (int n = 1; n < count_; ++n) {
            lower_sum += values_[static_cast<std::size_t>(n - 1)];
            const Real apart = (all - lower_sum) / Real(count_ - n) - lower_sum / Real(n);
            const Real between = apart * apart * Real(n) * Real(count_ - n);
            if (between <= most) continue;
            most = between;
            difference_ = apart;
            lower_ = n;
        }
        return true;
    }

    /// Of the means, upper less lower.
    [[nodiscard]] Real difference() const noexcept { return difference_; }
    /// How many readings the lower group has.
    [[nodiscard]] int lower() const noexcept { return lower_; }
    /// Least reading of the upper group.
    [[nodiscard]] Real least_upper() const noexcept { return values_[static_cast<std::size_t>(lower_)]; }
    [[nodiscard]] bool mostly_upper() const noexcept { return 2 * lower_ < count_; }

  private:
    int count_ = 0;
    int lower_ = 0;
    Real difference_ = 0;
    std::array<Real, static_cast<std::size_t>(kMost)> values_{};
};

}  // namespace kurbel
