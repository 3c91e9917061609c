// The detector in single precision, compiled once for everyone who links the library.
#include "kurbel/detector.hpp"

namespace kurbel {

template class BasicDetector<float>;

}  // namespace kurbel
