// How the firings of an engine may be spaced.
#pragma once

#include <vector>

namespace kurbel::discover {

struct Layout {
    const char* name;                    ///< "even firing", "V6 firing 90-150"
    std::vector<double> firing_tdc_deg;  ///< of a four-stroke's cycle, from 0
    double period_deg;                   ///< firings look alike after so many degrees

    [[nodiscard]] int cylinders() const { return static_cast<int>(firing_tdc_deg.size()); }
    /// Uneven, but less than even firing with some spread might look: 108 and 132 degrees.
    [[nodiscard]] bool nearly_even() const;
    [[nodiscard]] bool even() const { return period_deg * cylinders() < 721.0; }
};

/// Whether a wheel that shows `waves` of a cycle shows the wave of the firings and one beside it.
[[nodiscard]] bool shows_firings(const Layout& layout, int waves);

/// Even firing of 1 to 12 and 16 cylinders, and the uneven spacings that the trade knows (common practice, no source).
[[nodiscard]] const std::vector<Layout>& layouts();

}  // namespace kurbel::discover
