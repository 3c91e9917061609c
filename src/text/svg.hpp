// What the pictures share.
#pragma once

#include <string>

namespace kurbel::text::svg {

/// The opening of a study's picture: size, title and description for who cannot see it, the studies' styles (classes kb-...), white
/// ground. Ends with "</svg>" by the caller.
[[nodiscard]] std::string begin(double width, double height, const std::string& title, const std::string& description);

/// The opening tag of a picture that brings its own style; a line.
[[nodiscard]] std::string opening(double width, double height);

/// Title and sentence at the top, broken into lines; takes the first 110 units of height.
[[nodiscard]] std::string heading(const std::string& title, const std::string& sentence, double width);

/// Text as XML wants it.
[[nodiscard]] std::string escaped(const std::string& text);

/// A text element; `style` holds further attributes.
[[nodiscard]] std::string text_at(double x, double y, const char* style, const std::string& text);

/// A round step (1, 2 or 5 times a power of ten) that cuts `span` into at most `most` pieces; both positive.
[[nodiscard]] double round_step(double span, double most);

}  // namespace kurbel::text::svg
