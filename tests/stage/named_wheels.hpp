// The wheels of the trade by name, for the tests that go through all of them.
#pragma once

#include <vector>

#include "stage/wheel_edges.hpp"

namespace kurbel::test {

struct NamedWheel {
    const char* name;
    WheelConfig wheel;
    std::vector<double> cam_deg = {50.0};
};

/// Wheels with gaps (common practice, no source).
inline std::vector<NamedWheel> gap_wheels() {
    return {{"60-2", even_wheel(60, {58, 59})},
            {"36-1", even_wheel(36, {35})},
            {"36-2", even_wheel(36, {34, 35})},
            {"36-2-2-2", even_wheel(36, {14, 15, 17, 18, 34, 35})},
            {"36-2-1", even_wheel(36, {16, 34, 35})},
            {"30-1", even_wheel(30, {29})},
            {"30-2", even_wheel(30, {28, 29})},
            {"24-1", even_wheel(24, {23})},
            {"24-2", even_wheel(24, {22, 23})},
            {"18-1", even_wheel(18, {17})},
            {"12-1", even_wheel(12, {11})},
            {"12-2", even_wheel(12, {10, 11})},
            {"12-3", even_wheel(12, {9, 10, 11})},
            {"8-1", even_wheel(8, {7})},
            {"4-1", even_wheel(4, {3})},
            {"120-2", even_wheel(120, {118, 119})},
            {"36-1 with the gap at place 0", even_wheel(36, {0})},
            {"60-2 with the gap in the middle", even_wheel(60, {28, 29})}};
}

/// 24 teeth of two widths, seen on the flank whose distance varies: 15 degrees apart on the other flank.
inline WheelConfig coded_wheel() {
    std::vector<double> angles_deg;
    const char* const wide = "100110100011011100101100";
    for (int i = 0; i < 24; ++i) angles_deg.push_back(15.0 * i + (wide[i] == '1' ? 12.0 : 3.0));
    return listed_wheel(angles_deg);
}

}  // namespace kurbel::test
