// Which known word a misspelt one was meant to be. Inside the library only.
#pragma once

#include <algorithm>
#include <cstddef>
#include <numeric>
#include <string>
#include <string_view>
#include <vector>

namespace kurbel::read {

/// Number of single-letter edits between two words (Levenshtein).
inline std::size_t edit_distance(std::string_view a, std::string_view b) {
    std::vector<std::size_t> row(b.size() + 1);
    std::iota(row.begin(), row.end(), std::size_t{0});
    for (std::size_t i = 1; i <= a.size(); ++i) {
        std::size_t diagonal = row[0];
        row[0] = i;
        for (std::size_t j = 1; j <= b.size(); ++j) {
            const std::size_t substituted = diagonal + (a[i - 1] == b[j - 1] ? 0 : 1);
            diagonal = row[j];
            row[j] = std::min({row[j] + 1, row[j - 1] + 1, substituted});
        }
    }
    return row[b.size()];
}

/// The one of `known` (at least one) with fewest edits; the first of equals.
inline std::string nearest_word(std::string_view word, const std::vector<std::string>& known) {
    return *std::min_element(known.begin(), known.end(), [&](std::string_view a, std::string_view b) {
        return edit_distance(word, a) < edit_distance(word, b);
    });
}

}  // namespace kurbel::read
