// Numbers into text for people: the library's own helpers under the command line's roof.
#pragma once

#include "text/text.hpp"

namespace kurbel::command {

using text::counted;
using text::format;
using text::percent;
using text::percent_range;
using text::wrapped;

}  // namespace kurbel::command
