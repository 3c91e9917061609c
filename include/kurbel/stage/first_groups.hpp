// Which cylinders lose about every second of their first firings: those fall in two groups, a work apart.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>

#include "kurbel/stage/normal.hpp"
#include "kurbel/stage/pending_firings.hpp"
#include "kurbel/stage/two_groups.hpp"

namespace kurbel {

/// The pattern of a cylinder that loses so many lies between firing and not, and no firing stands out from it by a whole work. That the upper
/// group is the smaller one, and lost its work, is believed; that it is the larger one, only where a whole work lies between them or the
/// pattern misses work, too: else the lower group would be few that did more. Until that is known the place is left open.
template <class Real>
class FirstGroups {
  public:
    using Places = std::array<bool, kMaxCylinders>;
    static constexpr Real kNone = std::numeric_limits<Real>::max();

    /// `own`: share of a firing's own loss that it shows; `likely`: share of the work that groups lie apart at least; `limit`: deviations of calm
    /// cylinders that they do; `suspects`: places whose pattern misses work.
    void find(const PendingFirings<Real>& firings, Real own, Real likely, Real limit, const Places& suspects) noexcept {
        apart_ = std::max(likely, limit * calm_scatter(firings) / std::sqrt(own));
        for (int place = 0; place < kMaxCylinders; ++place) {
            const auto at = static_cast<std::size_t>(place);
            Groups groups;
            const bool two = fall_in_two(
                firings, place, [&](int i) { return firings[i].amplitude; }, groups);
            // A whole work apart, and not by one odd firing: nobody does twice what he should.
            const bool whole = groups.difference() >= kWhole * likely && groups.lower() > 1;
            open_[at] = two && groups.mostly_upper() && !whole && !suspects[at];
            least_lost_[at] = two && !open_[at] ? groups.least_upper() : kNone;
        }
    }

    /// After losses of other places were found: closes places whose two groups were nothing but these losses, seen by their neighbours. `left`:
    /// what firing i shows without them. True where there was one.
    template <class Left>
    bool reconsider(const PendingFirings<Real>& firings, Left&& left) noexcept {
        bool closed = false;
        for (int place = 0; place < kMaxCylinders; ++place) {
            Groups groups;
            if (!is_open(place) || fall_in_two(firings, place, left, groups)) continue;
            open_[static_cast<std::size_t>(place)] = false;
            closed = true;
        }
        return closed;
    }

    /// Least amplitude of the firings of a place that lost their work; kNone where they are no group.
    [[nodiscard]] Real least_lost(int place) const noexcept { return least_lost_[static_cast<std::size_t>(place)]; }
    /// Its firings fall in two groups, and which of them is healthy is not known.
    [[nodiscard]] bool is_open(int place) const noexcept { return open_[static_cast<std::size_t>(place)]; }

  private:
    static constexpr int kMost = 2 * kFirstCycles;  // firings of one place
    using Groups = TwoGroups<Real, kMost>;
    static constexpr Real kWhole = Real(1.3);  // of what is likely lost: two thirds of a work, as may be told wrongly

    template <class Amplitude>
    [[nodiscard]] bool fall_in_two(const PendingFirings<Real>& firings, int place, Amplitude&& amplitude,
                                   Groups& groups) const noexcept {
        for (int i = 0; i < firings.count(); ++i)
            if (firings[i].begins() && firings[i].place == place) groups.add(amplitude(i));
        return groups.split() && groups.difference() >= apart_;
    }

    /// How firings of a place scatter that is calmer than two thirds of them: several may lose firings, and only who loses none tells what is
    /// usual. Nothing is, where there is but one.
    [[nodiscard]] Real calm_scatter(const PendingFirings<Real>& firings) const noexcept {
        std::array<Real, kMaxCylinders> each{};
        int places = 0;
        for (int place = 0; place < kMaxCylinders; ++place) {
            std::array<Real, static_cast<std::size_t>(PendingFirings<Real>::kCapacity)> off{};
            int count = 0;
            for (int i = 0; i < firings.count(); ++i)
                if (firings[i].begins() && firings[i].place == place)
                    off[static_cast<std::size_t>(count++)] = std::fabs(firings[i].amplitude);
            if (count < 2) continue;
            std::nth_element(off.begin(), off.begin() + count / 2, off.begin() + count);
            each[static_cast<std::size_t>(places++)] = off[static_cast<std::size_t>(count / 2)];
        }
        if (places < 2) return kNone;
        const auto calm = each.begin() + (places - 1) / 3;
        std::nth_element(each.begin(), calm, each.begin() + places);
        return *calm / Real(kNormalMedian);
    }

    Real apart_ = 0;
    Places open_{};
    std::array<Real, kMaxCylinders> least_lost_{};
};

}  // namespace kurbel
