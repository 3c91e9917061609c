// What all our JSON writes alike.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <nlohmann/json.hpp>

namespace kurbel::text {

using Json = nlohmann::ordered_json;

/// NaN and infinity leave as null.
[[nodiscard]] inline Json number(double value) { return std::isfinite(value) ? Json(value) : Json(nullptr); }

/// The same with three decimals, where more would be noise.
[[nodiscard]] inline Json rounded(double value) { return number(std::round(1000.0 * value) / 1000.0); }

/// `cylinder`: its number, or null where it is one of two; these are then the `candidates`.
inline void name_cylinder(Json& row, std::int32_t cylinder, const std::array<std::int32_t, 2>& candidates) {
    row["cylinder"] = cylinder > 0 ? Json(cylinder) : Json(nullptr);
    if (cylinder > 0) return;
    row["candidates"] = Json::array();
    for (const std::int32_t candidate : candidates)
        if (candidate > 0) row["candidates"].push_back(candidate);
}

}  // namespace kurbel::text
