"""Runs, coincidences, permutation tests and multiplicity against SciPy, NumPy and enumeration.

Outside sources: scipy.stats.poisson, scipy.stats.chi2_contingency, scipy.stats.norm, numpy.correlate; all orders of small rows
counted one by one; critical numbers of runs after Swed and Eisenhart (Ann. Math. Stat. 14:66-87, 1943), values from memory.
"""

import itertools
import math
import subprocess
import sys

import numpy
from scipy import stats


def ask(text):
    answer = subprocess.run([sys.argv[1]], input=text, capture_output=True, text=True, check=True).stdout
    return [list(map(float, line.split())) for line in answer.splitlines()]


def runs_in(row):
    return 1 + sum(a != b for a, b in zip(row, row[1:]))


def check_runs():
    cases = [(a, b) for a in range(1, 8) for b in range(1, 8)]
    for (ones, zeros), chance in zip(cases, ask("".join(f"runs {a} {b}\n" for a, b in cases))):
        counts = numpy.zeros(len(chance))
        for places in itertools.combinations(range(ones + zeros), ones):
            counts[runs_in([i in places for i in range(ones + zeros)])] += 1
        assert numpy.allclose(chance, counts / math.comb(ones + zeros, ones), atol=1e-13), (ones, zeros)
    # Swed and Eisenhart's table at 2.5 % a side (values from memory): n1, n2, largest count that is too few, smallest that is
    # too many.
    for n1, n2, few, many in [(10, 10, 6, 16), (8, 12, 6, 16), (20, 20, 14, 28)]:
        chance = numpy.array(ask(f"runs {n1} {n2}\n")[0])
        assert chance[: few + 1].sum() <= 0.025 < chance[: few + 2].sum(), (n1, n2)
        assert chance[many:].sum() <= 0.025 < chance[many - 1 :].sum(), (n1, n2)
    # Mean and variance that Wald and Wolfowitz give, at a size beyond counting.
    chance = numpy.array(ask("runs 74 296\n")[0])
    n, number = 370, numpy.arange(chance.size)
    mean = (chance * number).sum()
    assert abs(mean - (1 + 2 * 74 * 296 / n)) < 1e-9
    variance = 2 * 74 * 296 * (2 * 74 * 296 - n) / (n * n * (n - 1))
    assert abs((chance * (number - mean) ** 2).sum() / variance - 1) < 1e-9


def check_poisson():
    cases = [(k, mean) for k in (0, 1, 2, 5, 20, 100, 1000) for mean in (1e-3, 0.5, 3.0, 40.0, 900.0)]
    for (k, mean), (tail,) in zip(cases, ask("".join(f"poisson {k} {mean}\n" for k, mean in cases))):
        assert abs(tail - stats.poisson.sf(k - 1, mean)) < 1e-10 * max(tail, 1e-4), (k, mean)


def check_correlation():
    random = numpy.random.default_rng(3)
    for lag in (1, 2, 7):
        row = (random.random(2000) < 0.3).astype(int)
        both, correlation, _ = ask(f"lag {lag} {row.size}\n" + " ".join(map(str, row)) + "\n")[0]
        assert both == numpy.correlate(row[lag:], row[:-lag])[0]
        centred = row - row.mean()
        expected = (centred[lag:] * centred[:-lag]).sum() / ((row.size - lag) * row.var())
        assert abs(correlation - expected) < 5e-3  # ours counts the row's ends a little differently


def check_coincidence_level():
    """Independent rows: the chance that a coincidence count gets is one (5 % of rows below 5 %), frequent and rare."""
    random = numpy.random.default_rng(4)
    for rate in (0.05, 0.4):
        rows = [(random.random(400) < rate).astype(int) for _ in range(800)]
        text = "".join(f"lag 1 {row.size}\n" + " ".join(map(str, row)) + "\n" for row in rows)
        below = sum(p <= 0.05 for _, _, p in ask(text))
        assert stats.binomtest(below, len(rows), 0.05, alternative="greater").pvalue > 1e-3, (rate, below)


def trend_p(one, value):
    """Cochran and Armitage's test, normal approximation."""
    lean = value - value.mean()
    z = (lean * one).sum() / math.sqrt(one.mean() * (1 - one.mean()) * (lean**2).sum())
    return 2 * stats.norm.sf(abs(z))


def check_block_test():
    """Where outcomes are independent the dealt blocks give what chi-square and Cochran-Armitage give."""
    random = numpy.random.default_rng(5)
    text, wanted = "", []
    for _ in range(60):
        cell = random.integers(0, 3, 4000)
        one = (random.random(4000) < 0.1 + random.choice([0.0, 0.012]) * cell).astype(int)
        table = [[((cell == c) & (one == y)).sum() for c in range(3)] for y in (0, 1)]
        wanted.append((stats.chi2_contingency(table, correction=False)[1], trend_p(one, cell)))
        text += f"test {one.size}\n" + "\n".join(f"{y} {c}" for y, c in zip(one, cell)) + "\n"
    got = numpy.array(ask(text))
    wanted = numpy.array(wanted)
    assert got.shape == (60, 2)
    # A share of 50 as-large deals has a relative error of 14 %; by chance up to three times that.
    assert numpy.median(abs(numpy.log(got / numpy.clip(wanted, 2e-4, 1)))) < 0.3
    rank = stats.spearmanr(got.ravel(), wanted.ravel()).correlation
    assert rank > 0.95, rank
    return rank


def check_holm():
    random = numpy.random.default_rng(6)
    for size in (1, 2, 7, 30):
        p = random.random(size) ** 2
        got = ask(f"holm {size} " + " ".join(f"{x:.17g}" for x in p) + "\n")[0]
        for a in (0.01, 0.05, 0.2):  # step down by the definition: reject the smallest while p <= a / (tests left)
            rejected, left = set(), size
            for i in numpy.argsort(p):
                if p[i] > a / left:
                    break
                rejected.add(i)
                left -= 1
            assert rejected == {i for i in range(size) if got[i] <= a}


def main():
    check_runs()
    check_poisson()
    check_correlation()
    check_coincidence_level()
    rank = check_block_test()
    check_holm()
    print(f"runs, Poisson tails, correlations, Holm agree; block test against chi-square and Cochran-Armitage: rank {rank:.3f}")


if __name__ == "__main__":
    main()
