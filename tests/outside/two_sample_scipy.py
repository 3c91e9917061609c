"""Fisher's exact test, the pooled z and sizes of fixed tests against SciPy (scipy.stats.fisher_exact, chi2_contingency, binom)."""

import math
import subprocess
import sys

import numpy
from scipy.stats import binom, chi2_contingency, fisher_exact


def tables():
    random = numpy.random.default_rng(20240511)
    yield 3, 4, 1, 4  # the lady tasting tea
    yield 15, 300, 6, 300
    for n, m in ((1, 1), (5, 7), (30, 400), (400, 400), (3000, 500)):
        for _ in range(60):
            yield int(random.integers(0, n + 1)), n, int(random.integers(0, m + 1)), m
            yield int(random.binomial(n, 0.05)), n, int(random.binomial(m, 0.03)), m


def sizes():
    for good, bad in ((0.0005, 0.01), (0.001, 0.02), (0.0025, 0.05), (0.01, 0.2)):
        for error in (0.01, 0.05, 0.1):
            yield good, bad, error


def fixed_size(good, bad, error):
    """Smallest n, over growing limits c, with both binomial errors at most `error`."""
    for c in range(400):
        n = c + 1
        while binom.cdf(c, n, bad) > error:
            n += 1
        if binom.sf(c, n, good) <= error:
            return n
    raise AssertionError("no test found")


def main():
    wanted = list(tables())
    plans = list(sizes())
    text = "".join("table %d %d %d %d\n" % row for row in wanted) + "".join("size %r %r %r\n" % row for row in plans)
    lines = subprocess.run([sys.argv[1]], input=text, capture_output=True, text=True, check=True).stdout.splitlines()
    assert len(lines) == len(wanted) + len(plans) and len(wanted) > 500, (len(lines), len(wanted))
    worst = 0.0
    compared = 0
    for (a, n, b, m), line in zip(wanted, lines):
        p, z = map(float, line.split())
        theirs = fisher_exact([[a, n - a], [b, m - b]])[1]
        worst = max(worst, abs(p - theirs) / max(theirs, 1e-12))
        if 0 < a + b < n + m:
            square = chi2_contingency([[a, n - a], [b, m - b]], correction=False)[0]
            assert math.isclose(z * z, square, rel_tol=1e-9, abs_tol=1e-9), (a, n, b, m, z, square)
            assert z == 0 or (z > 0) == (a / n > b / m)
            compared += 1
    assert worst < 1e-6, worst
    assert compared > 400
    for plan, line in zip(plans, lines[len(wanted):]):
        assert int(line) == fixed_size(*plan), (plan, line, fixed_size(*plan))
    print(f"{len(wanted)} tables agree, largest relative difference of p {worst:.1e}; {len(plans)} sizes agree")


if __name__ == "__main__":
    main()
