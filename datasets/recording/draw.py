#!/usr/bin/env python3
"""Draws good-capture.svg and bad-captures.svg for RECORDING.md from the voltage of a simulated inductive sensor.

    python3 datasets/recording/draw.py build/release/src/kurbel
The engine is the cell wheel-inductive, drawn as number 1 (invented); needs NumPy.
"""
import pathlib
import subprocess
import sys
import tempfile

import numpy as np

HERE = pathlib.Path(__file__).resolve().parent
RATE_HZ = 100_000.0
TRACE, EDGE, INK, FAINT = "#0b5c7a", "#b3541e", "#222", "#ccc"


def simulated(program: str) -> tuple[np.ndarray, np.ndarray]:
    """Volts at RATE_HZ, and the times of the edges in seconds."""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([program, "simulate", str(HERE.parent / "cells" / "wheel-inductive.toml"), "--draw", "1", "--seconds", "4", "--npy",
                        "--out", f"{folder}/r", "--waveform", f"{folder}/v.npy", "--rate", f"{RATE_HZ:g}"], check=True, stdout=subprocess.DEVNULL)
        volts = np.load(f"{folder}/v.npy")
        text = (pathlib.Path(folder) / "r" / "recording.toml").read_text()
        hz = float(text.split("hz = ")[1].split()[0])
        return (volts if volts.ndim == 1 else volts[:, -1]), np.load(f"{folder}/r/crank.npy") / hz


def label(x: float, y: float, text: str, more: str = "") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" {more}>{text}</text>\n'


def panel(volts: np.ndarray, left: float, top: float, width: float, height: float, most: float, dots: bool = False) -> str:
    """One trace, zero in the middle, `most` volts at the rim."""
    x = left + np.arange(len(volts)) / (len(volts) - 1) * width
    y = top + height * (0.5 - 0.5 * np.clip(volts / most, -1.0, 1.0))
    path = "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x, y))
    svg = f'<rect x="{left}" y="{top}" width="{width}" height="{height}" fill="#fdfdfb" stroke="{FAINT}"/>\n'
    svg += f'<path d="M{left} {top + height / 2}H{left + width}" stroke="{FAINT}" stroke-dasharray="3 4"/>\n'
    svg += f'<path d="{path}" fill="none" stroke="{TRACE}" stroke-width="1.3"/>\n'
    if dots:
        svg += "".join(f'<circle cx="{a:.1f}" cy="{b:.1f}" r="2.4" fill="{TRACE}"/>' for a, b in zip(x, y)) + "\n"
    return svg


def document(width: int, height: int, body: str) -> str:
    return (f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}">\n'
            f"<style>text{{font-family:'DejaVu Sans',Verdana,Arial,sans-serif;font-size:13px;fill:{INK}}}.h{{font-size:16px;font-weight:bold}}"
            f'.b{{font-weight:bold}}</style>\n<rect width="100%" height="100%" fill="white"/>\n{body}</svg>\n')


def good(volts: np.ndarray, edges: np.ndarray) -> str:
    """One and a half turns of the wheel, the edges marked, and the tooth beside the gap enlarged."""
    start = np.searchsorted(edges, 3.0)
    gap = start + int(np.argmax(np.diff(edges[start : start + 60])))
    first, last = edges[gap - 12], edges[gap + 18]
    cut = slice(int(first * RATE_HZ), int(last * RATE_HZ))
    left, top, width, height = 60.0, 80.0, 900.0, 260.0
    most = 1.15 * np.abs(volts[cut]).max()
    at = lambda t: left + (t - first) / (last - first) * width
    svg = label(20, 30, "A good capture of an inductive sensor", 'class="h"')
    svg += label(20, 54, "Waves fill the range without touching its ends, the middle stays at zero, and every edge is the steep way through zero.")
    svg += panel(volts[cut], left, top, width, height, most)
    for t in edges[(edges >= first) & (edges <= last)]:
        svg += f'<path d="M{at(t):.1f} {top + height / 2 - 9}v18" stroke="{EDGE}" stroke-width="2"/>\n'
    middle = 0.5 * (at(edges[gap]) + at(edges[gap + 1]))
    svg += label(middle, top + height + 22, "the gap: teeth that are not there", f'text-anchor="middle" fill="{EDGE}"')
    svg += label(left - 8, top + 16, f"{most:.2g} V", 'text-anchor="end"') + label(left - 8, top + height / 2 + 4, "0", 'text-anchor="end"')
    svg += label(left + width, top + height + 44, f"{1e3 * (last - first):.0f} ms, {RATE_HZ / 1e3:.0f} kHz", 'text-anchor="end"')
    svg += f'<path d="M{left} {top + height + 40}v-9" stroke="{EDGE}" stroke-width="2"/>\n' + label(left + 8, top + height + 44, "an edge: one tooth, always the same flank")
    return document(1000, 400, svg)


def bad(volts: np.ndarray, edges: np.ndarray) -> str:
    """The same stretch, spoilt in six ways."""
    start = np.searchsorted(edges, 3.0)
    gap = start + int(np.argmax(np.diff(edges[start : start + 60])))
    cut = slice(int(edges[gap - 6] * RATE_HZ), int(edges[gap + 9] * RATE_HZ))
    trace = volts[cut]
    most = 1.15 * np.abs(trace).max()
    time = np.arange(len(trace)) / RATE_HZ
    step = max(int(len(trace) / (16 * 2.2)), 1)
    rng = np.random.default_rng(5)
    spoilt = [
        ("Range too small: tops are cut off", "choose a larger range, or a probe that divides", np.clip(trace, -0.3 * most, 0.3 * most), False),
        ("Range too large: a few steps of the converter", "choose a smaller range", np.round(trace * 0.1 / most * 20) / 20 * most, False),
        ("Wires exchanged: the steep way through zero rises now", "exchange them; kurbel finds the flank and says so", -trace, False),
        ("Mains hum below the waves", "recorder on a battery, one ground, short shield", 0.5 * trace + 0.4 * most * np.sin(2 * np.pi * 50 * time + 1), False),
        ("Too few samples: about two a tooth", "raise the sampling rate: at least five a tooth", trace[::step], True),
        ("Sparks of the ignition", "lead the cable away from coils and plug leads", trace.copy(), False),
    ]
    for place in range(len(trace) // 12, len(trace), len(trace) // 5):
        spoilt[5][2][place : place + 14] += most * rng.uniform(-1.2, 1.2, 14)[: len(trace) - place]
    svg = label(20, 30, "Captures that need another try", 'class="h"')
    for i, (what, remedy, values, dots) in enumerate(spoilt):
        left, top = 20.0 + 490.0 * (i % 2), 50.0 + 205.0 * (i // 2)
        svg += panel(values, left, top, 470, 140, most, dots)
        svg += label(left, top + 158, what, 'class="b"') + label(left, top + 176, remedy)
    return document(1000, 665, svg)


if __name__ == "__main__":
    voltage, times = simulated(sys.argv[1])
    (HERE / "good-capture.svg").write_text(good(voltage, times))
    (HERE / "bad-captures.svg").write_text(bad(voltage, times))
