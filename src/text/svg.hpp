// What the pictures share.
#pragma once

#include <string>

namespace kurbel::text::svg {

/// Text as XML wants it.
[[nodiscard]] std::string escaped(const std::string& text);

/// A text element; `style` holds further attributes.
[[nodiscard]] std::string text_at(double x, double y, const char* style, const std::string& text);

/// A round step (1, 2 or 5 times a power of ten) that cuts `span` into at most `most` pieces; both positive.
[[nodiscard]] double round_step(double span, double most);

}  // namespace kurbel::text::svg
