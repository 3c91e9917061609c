"""Exact binomial intervals against SciPy's beta quantiles (scipy.stats.beta.ppf, as Clopper and Pearson define them)."""

import subprocess
import sys

import numpy
from scipy.stats import beta


def cases():
    """Counts of every size from 1 to 1e7, all x for small n, and three confidences."""
    random = numpy.random.default_rng(20240301)
    for confidence in (0.90, 0.95, 0.99):
        for n in range(1, 31):
            for x in range(n + 1):
                yield x, n, confidence
        for n in (100, 1000, 2000, 10**5, 10**7):
            for x in {0, 1, 2, n // 100, n // 2, n - 1, n, *map(int, random.integers(0, n, 20))}:
                yield x, n, confidence


def expected(x, n, confidence):
    tail = (1.0 - confidence) / 2.0
    low = beta.ppf(tail, x, n - x + 1) if x > 0 else 0.0
    high = beta.ppf(1.0 - tail, x + 1, n - x) if x < n else 1.0
    return low, high


def main():
    wanted = list(cases())
    text = "".join(f"{x} {n} {confidence}\n" for x, n, confidence in wanted)
    answer = subprocess.run([sys.argv[1]], input=text, capture_output=True, text=True, check=True).stdout
    got = [tuple(map(float, line.split())) for line in answer.splitlines()]
    assert len(got) == len(wanted) > 1500, (len(got), len(wanted))
    worst = 0.0
    for (x, n, confidence), pair in zip(wanted, got):
        for mine, theirs in zip(pair, expected(x, n, confidence)):
            error = abs(mine - theirs) / max(theirs, 1e-300) if theirs else abs(mine)
            # SciPy's own quantiles and the log-gamma differences both lose digits as n grows.
            assert error < (1e-11 if n <= 2000 else 1e-7), (x, n, confidence, mine, theirs)
            worst = max(worst, error)
    print(f"{len(wanted)} intervals agree; largest relative difference {worst:.1e}")


if __name__ == "__main__":
    main()
