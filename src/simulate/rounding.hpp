// Values as they are written: rounded to 1 / `per_unit`, so that files stay short.
#pragma once

#include <cmath>

namespace kurbel::simulate {

[[nodiscard]] inline double rounded(double value, double per_unit) noexcept {
    return std::floor(value * per_unit + 0.5) / per_unit;
}

}  // namespace kurbel::simulate
