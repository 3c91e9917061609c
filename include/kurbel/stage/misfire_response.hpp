// What one misfire did to the crank, other misfires in reach taken out.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>

#include "kurbel/stage/pending_firings.hpp"
#include "kurbel/stage/residual_history.hpp"
#include "kurbel/stage/response_bank.hpp"

namespace kurbel {

/// Takes the known contribution of firing `other` out of what followed firing `own`.
template <class Real>
void take_out_other(const ResponseBank& bank, const PendingFiring<Real>& other, const PendingFiring<Real>& own,
                    ResponseBank::Response& x) noexcept {
    const auto shift = static_cast<int>(other.bin - own.bin);
    if (!other.usable() || shift >= bank.length()) return;
    const auto amplitude = static_cast<float>(other.amplitude * other.expected / own.expected);
    const auto& response = bank.response(other.place);
    for (int j = shift; j < bank.length(); ++j)
        x[static_cast<std::size_t>(j)] -= amplitude * response[static_cast<std::size_t>(j - shift)];
}

/// Takes what a firing did that lost `size` of its work out of the bins from `first`, where its window begins, to the newest, and out of
/// what the crank rings on with.
template <class Real>
void take_out_loss(ResidualHistory<Real>& residuals, const ResponseBank& bank, const PendingFiring<Real>& firing,
                   std::int64_t first, Real size) noexcept {
    const auto& response = bank.response(firing.place);
    const auto there = static_cast<int>(residuals.bins().newest() - first);
    const Real work = size * firing.expected;
    for (int j = 0; j < std::min(bank.length(), there); ++j)
        residuals.take_out(first + j, work * static_cast<Real>(response[static_cast<std::size_t>(j)]));
    if (there < bank.length()) return;
    const auto end = static_cast<std::size_t>(bank.length());
    residuals.add_ringing(first + bank.length() - 1, work * static_cast<Real>(response[end - 1]),
                          work * static_cast<Real>(response[end - 2]));
}

/// Residuals of `known` bins from `first` on, where the window of the oldest firing begins, per share of work that it lost. `dead`: places
/// that may do more than the pattern has. All others that seem to are read so because the response is not known yet: that is to be learned.
template <class Real>
[[nodiscard]] ResponseBank::Response measured_response(const ResidualHistory<Real>& residuals,
                                                       const PendingFirings<Real>& pending, const ResponseBank& bank,
                                                       const std::array<bool, kMaxCylinders>& dead, std::int64_t first,
                                                       int known, Real lost) noexcept {
    constexpr Real kLikelyLost = Real(0.3);
    const PendingFiring<Real>& oldest = pending[0];
    ResponseBank::Response x{};
    residuals.fill(first, known, oldest.expected, x);
    for (int i = 1; i < pending.count(); ++i) {
        const PendingFiring<Real>& other = pending[i];
        const bool fires = dead[static_cast<std::size_t>(other.place)] && other.amplitude < -kLikelyLost;
        if (other.amplitude > kLikelyLost || fires) take_out_other(bank, other, oldest, x);
    }
    for (float& value : x) value /= static_cast<float>(lost);
    return x;
}

}  // namespace kurbel
