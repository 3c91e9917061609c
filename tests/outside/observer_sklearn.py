"""The detection table's trained observer against scikit-learn, from the edges on.

Energy bins by numpy.interp over the true tooth places, the discriminant by sklearn.discriminant_analysis.LinearDiscriminantAnalysis,
areas by sklearn.metrics.roc_auc_score and scipy.stats.mannwhitneyu, best thresholds by sklearn.metrics.roc_curve.
"""
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

import numpy as np
from scipy.stats import mannwhitneyu
from sklearn.discriminant_analysis import LinearDiscriminantAnalysis
from sklearn.metrics import roc_auc_score, roc_curve

BEFORE_DEG, INTERVALS_AFTER, RIDGE, PARTS = 96.0, 3.0, 1e-4, 16


def boundary_clock(folder, config):
    """Crank degrees after place 0 (rising) and the time at which each passes, of all crank edges."""
    wheel = config["crank_wheel"]
    ticks = np.load(folder / "crank.npy").astype(np.int64)
    time = ticks / config["timer"]["hz"]
    assert (np.diff(time) > 0).all(), "the recording was to have a clock that does not wrap"
    rows = (folder / "truth_edges.csv").read_text().splitlines()
    columns = rows[0].split(",")
    edges = [dict(zip(columns, row.split(","))) for row in rows[1:]]
    place = np.array([int(e["place"]) for e in edges if e["signal"] == "crank"])
    assert len(place) == len(time) and (place >= 0).all(), "the recording was to have clean edges"
    turns = np.concatenate([[0], np.cumsum(np.diff(place) < 0)])
    return place * 360.0 / wheel["positions"] + 360.0 * turns, time


def features(angle, time, tdc_s, bin_deg, interval_deg, relative, tdc1_deg):
    """Rows of half of speed squared in bins around each TDC; NaN where the recording has none."""
    before = int(np.ceil(BEFORE_DEG / bin_deg - 1e-9))
    after = int(np.ceil(INTERVALS_AFTER * interval_deg / bin_deg - 1e-9))
    lattice = np.arange(np.ceil((angle[0] - tdc1_deg) / bin_deg), np.floor((angle[-1] - tdc1_deg) / bin_deg) + 1) * bin_deg
    passed = np.interp(lattice + tdc1_deg, angle, time)
    energy = 0.5 * (np.radians(bin_deg) / np.diff(passed)) ** 2
    first = np.array([np.abs(passed[:-1] - t).argmin() for t in tdc_s])
    whole = (first >= before) & (first + after <= len(energy))
    rows = np.full((len(tdc_s), before + after), np.nan)
    for i in np.flatnonzero(whole):
        rows[i] = energy[first[i] - before:first[i] + after]
    if relative:
        rows -= rows[:, :before].mean(axis=1, keepdims=True)
    return rows


def observe(x, cylinder, lost, half):
    """Scores by scikit-learn. Its shrinkage s weights (1 - s) covariance + s mean variance: a ridge of s / (1 - s)."""
    scores = np.full(len(x), np.nan)
    known = ~np.isnan(x[:, 0])
    for h in (0, 1):
        learn = known & (half == h)
        centred = x.copy()
        for c in np.unique(cylinder):
            # The upper of the two middle values, as the table takes it.
            healthy = np.sort(x[learn & (cylinder == c) & (lost == 0)], axis=0)
            centred[cylinder == c] -= healthy[len(healthy) // 2]
        lda = LinearDiscriminantAnalysis(solver="lsqr", shrinkage=RIDGE / (1 + RIDGE))
        lda.fit(centred[learn], lost[learn])
        judge = known & (half != h)
        scores[judge] = lda.decision_function(centred[judge])
    return scores


def check(what, holds):
    print(f"{'ok  ' if holds else 'FAIL'} {what}")
    return bool(holds)


def check_discriminant(kurbel, probe, cell):
    with tempfile.TemporaryDirectory() as top:
        folder = Path(top) / "recording"
        subprocess.run([kurbel, "simulate", cell, "--draw", "3", "--seconds", "40", "--npy", "--full-truth", "--out", folder],
                       check=True, capture_output=True)
        config = tomllib.loads((folder / "recording.toml").read_text())
        told = subprocess.run([probe, folder], check=True, capture_output=True, text=True).stdout.splitlines()
        angle, time = boundary_clock(folder, config)
    firing = np.array([line.split()[1:] for line in told if line.startswith("firing")], dtype=float)
    bin_deg = float(told[-1].removeprefix("bin_deg "))
    tdc_s, cylinder, lost = firing[:, 0], firing[:, 1].astype(int), firing[:, 2].astype(int)
    half = (np.arange(len(firing)) * PARTS // len(firing)) % 2
    interval = 720.0 / config["engine"]["cylinders"]
    good = check(f"{lost.sum()} misfires among {len(lost)} firings", lost.sum() > 40)
    for column, relative in ((3, False), (4, True)):
        ours = firing[:, column]
        good &= check(f"{(~np.isnan(ours)).sum()} firings are scored", (~np.isnan(ours)).sum() > 0.98 * len(lost))
        x = features(angle, time, tdc_s, bin_deg, interval, relative, config["crank_wheel"]["tdc1_deg"])
        # Before the gap is found the table has no bins, and learns from none.
        x[np.isnan(ours)] = np.nan
        theirs = observe(x, cylinder, lost, half)
        good &= check("the same firings are scored", (np.isnan(theirs) == np.isnan(ours)).all())
        for h in (0, 1):
            some = ~np.isnan(theirs) & ~np.isnan(ours) & (half == h)
            # A discriminant is known up to its scale and zero.
            fit = np.polyfit(theirs[some], ours[some], 1)
            worst = np.abs(np.polyval(fit, theirs[some]) - ours[some]).max() / ours[some].std()
            good &= check(f"half {h}, relative {relative}: scores agree to {worst:.1e} deviations", worst < 1e-6 and fit[0] > 0)
    return good


def check_areas(probe):
    """Invented scores of two overlapping classes, with ties."""
    random = np.random.default_rng(7)
    lost = (random.random(20000) < 0.05).astype(int)
    score = np.round(random.normal(2.5 * lost, 1.0), 2)
    text = "".join(f"{s} {m}\n" for s, m in zip(score, lost))
    told = subprocess.run([probe, "-"], input=text, check=True, capture_output=True, text=True).stdout.split("\n")
    area = float(told[0].split()[1])
    sick, well = score[lost == 1], score[lost == 0]
    areas = roc_auc_score(lost, score), mannwhitneyu(sick, well).statistic / len(sick) / len(well)
    good = check(f"area {area:.9f}, scikit-learn {areas[0]:.9f}, SciPy {areas[1]:.9f}", max(abs(a - area) for a in areas) < 1e-12)
    false_share, found_share, _ = roc_curve(lost, score, drop_intermediate=False)
    for line in told[1:-1]:
        _, most, missed = line.split()
        least = round((1 - found_share[false_share <= float(most) + 1e-12].max()) * len(sick))
        good &= check(f"fewest misses at {most}: {missed}, scikit-learn {least}", least == int(missed))
    return good


def main():
    kurbel, probe, cell = sys.argv[1:]
    good = check_discriminant(kurbel, probe, cell)
    sys.exit(0 if check_areas(probe) and good else 1)


if __name__ == "__main__":
    main()
