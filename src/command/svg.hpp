// What the pictures share: the library's own helpers under the command line's roof.
#pragma once

#include "text/svg.hpp"

namespace kurbel::command {

namespace svg = text::svg;

}  // namespace kurbel::command
