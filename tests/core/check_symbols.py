"""Says whether an object file calls anything that the streaming core must not call.

Allowed are mathematics, memory moves and the compiler's own helpers; everything else is named and fails the test, so a new
dependency has to be thought about before it is added here. The heap is not among them. Eigen's products would go there for
temporaries above EIGEN_STACK_ALLOCATION_LIMIT; ours have fixed largest sizes far below it, so the object is compiled with that
branch off. That it is never taken with Eigen's own limit either, tests/detector/allocation_test.cpp counts at run time.
"""
import re
import subprocess
import sys

ALLOWED = re.compile(
    r"^(mem(cpy|move|set|cmp)|bcmp"
    r"|(sqrt|sin|cos|tan|atan|atan2|asin|acos|exp|exp2|expm1|log|log2|log10|log1p|pow|fmod|hypot|floor|ceil|round|trunc"
    r"|nearbyint|rint|lrint|llrint|lround|llround|fabs|fmin|fmax|fma|ldexp|frexp|modf|copysign|remainder|cbrt|erf|erfc"
    r"|tgamma|lgamma|lgamma_r|sincos|tanh|cosh|sinh|logb|ilogb|scalbn|nextafter|cexp)f?"
    r"|__cxa_guard_(acquire|release)"
    r"|_GLOBAL_OFFSET_TABLE_|__stack_chk_fail|_Unwind_Resume"
    r"|__(u?div|u?mod|mul|u?divmod|float|fix|popcount)[a-z0-9]*)$"
)


def undefined_symbols(nm: str, path: str) -> list[str]:
    text = subprocess.run([nm, "--undefined-only", path], check=True, capture_output=True, text=True).stdout
    return [line.split()[-1] for line in text.splitlines() if line.strip()]


def main() -> int:
    nm, *given = sys.argv[1:]
    also = {name.removeprefix("--also=") for name in given if name.startswith("--also=")}
    objects = [name for name in given if not name.startswith("--also=")]
    assert objects, "no object file was given"
    found = 0
    for path in objects:
        for symbol in undefined_symbols(nm, path):
            found += 1
            if symbol not in also and not ALLOWED.match(symbol):
                print(f"{path}: the streaming core calls {symbol}")
                return 1
    print(f"{found} outside symbols, all allowed")
    return 0


if __name__ == "__main__":
    sys.exit(main())
