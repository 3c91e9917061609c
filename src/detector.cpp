// The detector in double precision, compiled once for everyone who links the library.
#include "kurbel/detector.hpp"

namespace kurbel {

// A program of its own for each precision: together they would exhaust what the compiler is willing to inline in one.
template class BasicDetector<double>;

}  // namespace kurbel
