"""Runs the shipped scenario cells and tells how often misfires are missed and healthy firings accused, a row a cell.

    /usr/bin/python3 bench/cells.py --kurbel build/release/src/kurbel --cells '^wheel-' --draws 1-5

Each draw is another engine. Counts are summed over the draws; intervals are the exact ones of Clopper and Pearson (1934), by SciPy.
An engine that was looked at while a detector was being worked on is no longer an unseen one: take other numbers for a figure that is
to be quoted.
"""
import argparse
import json
import re
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from scipy.stats import beta

FOLDER = Path(__file__).resolve().parents[1] / "datasets" / "cells"


def call(*arguments):
    done = subprocess.run([str(a) for a in arguments], capture_output=True, text=True)
    if done.returncode != 0:
        raise RuntimeError(done.stderr.strip().splitlines()[-1])


def one(kurbel, path, draw, seconds):
    """Figures of one engine: the score's, and those of synchronism."""
    own = re.search(r"^seconds = (\d+)", path.read_text(), re.MULTILINE)
    length = min(float(own.group(1)), seconds) if own else seconds
    with tempfile.TemporaryDirectory() as folder:
        recording, result, score = (Path(folder) / name for name in ("recording", "result", "score.json"))
        call(kurbel, "simulate", path, "--draw", draw, "--seconds", length, "--npy", "--out", recording)
        call(kurbel, "analyze", recording, "--out", result)
        call(kurbel, "score", result, "--truth", recording, "--json", score)
        return json.loads(score.read_text()), json.loads((result / "summary.json").read_text())["sync"]


def percent(count, of):
    """"1.2 (0.3 to 3.1)", or a dash where there was nothing to count."""
    if of == 0:
        return "-"
    low = beta.ppf(0.025, count, of - count + 1) if count > 0 else 0.0
    high = beta.ppf(0.975, count + 1, of - count) if count < of else 1.0
    return f"{100 * count / of:.3g} ({100 * low:.2g} to {100 * high:.2g})"


def row(name, outcomes):
    scores = [score for score, _ in outcomes]
    total = lambda key, part: sum(score[key][part] for score in scores)
    cells = [
        name,
        str(sum(score["truth_firings"] for score in scores)),
        percent(total("missed", "count"), total("missed", "of")),
        percent(total("false_alarms", "count"), total("false_alarms", "of")),
        str(total("wrong_cylinder", "count")),
        str(total("misnamed", "count")),
        str(sum(score["healthy_unjudged"] for score in scores)),
        str(sum(sync["losses"] for _, sync in outcomes)),
    ]
    return "| " + " | ".join(cells) + " |"


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kurbel", default="build/release/src/kurbel", help="the program")
    parser.add_argument("--cells", default=".", help="only cells whose name matches this regular expression")
    parser.add_argument("--draws", default="1", help="number, or first-last")
    parser.add_argument("--seconds", type=float, default=60.0, help="longest recording")
    parser.add_argument("--threads", type=int, default=2)
    options = parser.parse_args()
    first, _, last = options.draws.partition("-")
    draws = range(int(first), int(last or first) + 1)
    paths = sorted(p for p in FOLDER.glob("*.toml") if re.search(options.cells, p.stem))
    if not paths:
        sys.exit(f"no cell is called like {options.cells}")
    print("| cell | firings | missed % | false alarms % | wrong cylinder | wrong name | healthy unjudged | sync losses |")
    print("|---|---|---|---|---|---|---|---|")
    failed = 0
    with ThreadPoolExecutor(options.threads) as pool:
        jobs = {p: [pool.submit(one, options.kurbel, p, d, options.seconds) for d in draws] for p in paths}
        for path, futures in jobs.items():
            outcomes = []
            for draw, future in zip(draws, futures):
                try:
                    outcomes.append(future.result())
                except RuntimeError as error:
                    failed += 1
                    print(f"{path.stem}, draw {draw}: {error}", file=sys.stderr)
            if outcomes:
                print(row(path.stem, outcomes), flush=True)
    sys.exit(3 if failed else 0)


if __name__ == "__main__":
    main()
