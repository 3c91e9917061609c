// How the crank rings on after a misfire, longer than misfires could be looked at.
#pragma once

#include <cmath>
#include <cstddef>

namespace kurbel {

/// Damped oscillation of what misfires leave behind, bin by bin: r(j+1) = a r(j) - b r(j-1). Both zero where none is known.
struct CrankRinging {
    float a = 0;
    float b = 0;

    [[nodiscard]] bool any() const noexcept { return b > 0.0F; }

    /// Writes the bins from `from` to `end` of a response as they follow from the two bins before.
    template <class Response>
    void go_on(Response& r, int from, int end) const noexcept {
        for (int j = from; j < end; ++j) {
            const auto at = static_cast<std::size_t>(j);
            r[at] = a * r[at - 1] - b * r[at - 2];
        }
    }
};

/// The oscillation that explains bins `from` (above 0) to `end` of the first `places` responses best, by least squares: one that dies out, tells
/// most of what is seen, and is none slower than a crank twists. `slowest_step`: cosine of the least angle from one bin to the next, for what
/// frequent misfires leave of each other looks like a slow one.
template <class Responses>
[[nodiscard]] CrankRinging fit_ringing(const Responses& responses, int places, int from, int end,
                                       float slowest_step) noexcept {
    float here = 0;
    float before = 0;
    float both = 0;
    float next_here = 0;
    float next_before = 0;
    float next = 0;
    for (int k = 0; k < places; ++k)
        for (int j = from; j + 1 < end; ++j) {
            const auto at = static_cast<std::size_t>(j);
            const auto& r = responses[static_cast<std::size_t>(k)];
            here += r[at] * r[at];
            before += r[at - 1] * r[at - 1];
            both += r[at] * r[at - 1];
            next_here += r[at + 1] * r[at];
            next_before += r[at + 1] * r[at - 1];
            next += r[at + 1] * r[at + 1];
        }
    const float determinant = here * before - both * both;
    if (!(determinant > 1e-4F * here * before)) return {};
    const float a = (next_here * before - next_before * both) / determinant;
    const float b = -(next_before * here - next_here * both) / determinant;
    const float explained = a * next_here - b * next_before;
    if (!(explained > 0.5F * next) || b <= 0.0F || b >= 1.0F || a * a >= 4.0F * b) return {};
    if (a > 2.0F * std::sqrt(b) * slowest_step) return {};
    return {a, b};
}

}  // namespace kurbel
