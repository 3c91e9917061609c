"""Edges of band-limited waveforms made and filtered by SciPy, against zeros found on a grid 64 times as fine.

Waves of random height and random distance pass a steep low-pass of SciPy (Kaiser FIR); the zeros of the filtered wave are
found between samples of the fine grid by a straight line, where that is exact to 1e-4 of a coarse sample. The coarse samples are
every 64th of it. A Butterworth low-pass, run by SciPy over a digital signal, stands for a Hall sensor with an input filter.
"""
import sys

import numpy as np
import scipy.signal

import kurbel

FINE = 64


def falling_zeros(wave: np.ndarray, level: float = 0.0, rising: bool = False) -> np.ndarray:
    side = wave - level if not rising else level - wave
    at = np.flatnonzero((side[:-1] > 0) & (side[1:] <= 0))
    return (at + side[at] / (side[at] - side[at + 1])) / FINE


def worst(found: np.ndarray, truth: np.ndarray) -> tuple[float, float]:
    inside = found[(found > truth[0] - 1) & (found < truth[-1] + 1)]
    nearest = truth[np.clip(np.searchsorted(truth, inside), 1, truth.size - 1)]
    before = truth[np.clip(np.searchsorted(truth, inside) - 1, 0, truth.size - 1)]
    error = np.minimum(np.abs(inside - nearest), np.abs(inside - before))
    return float(np.sqrt(np.mean(error**2))), float(inside.size / truth.size)


def coil(period: float, noise_db: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """A wave whose tooth distance swings by 3 % and whose height by 15 %, with a random third harmonic, low-pass at 0.4 of the rate."""
    random = np.random.default_rng(seed)
    count = int(800 * period) * FINE
    time = np.arange(count) / FINE
    phase = 2 * np.pi * (time / period + 0.5 * np.sin(2 * np.pi * time / (17.0 * period)) * 0.03 * 17.0 / np.pi)
    wave = -np.sin(phase) * (1 + 0.15 * np.sin(2 * np.pi * time / (60.0 * period)))
    wave += 0.1 * random.normal() * np.sin(3 * phase)
    taps = scipy.signal.firwin(40 * FINE + 1, 0.4, fs=FINE, window=("kaiser", 8.0))
    wave = scipy.signal.oaconvolve(wave, taps, mode="same")
    samples = wave[::FINE] + random.normal(size=count // FINE) * np.sqrt(0.5) / 10 ** (noise_db / 20)
    return samples, falling_zeros(wave)


def main() -> int:
    failures = 0
    for period in (3.4, 5.3, 9.7, 23.1, 47.9):
        for seed in (1, 2):
            samples, truth = coil(period, 40.0, seed)
            found = kurbel.edges_from_waveform(samples, 1e5, kind="inductive", flank="falling")
            rms, share = worst(found.edges["time_s"] * 1e5, truth)
            ok = rms <= 0.02 and 0.97 <= share <= 1.001
            failures += not ok
            print(f"{period:5.1f} samples a tooth, seed {seed}: rms {rms:.4f} samples, found {share:.4f} {'' if ok else 'WRONG'}")
    # Hall behind a second-order Butterworth filter at a tenth of the rate: the level midway, on the filtered wave.
    time = np.arange(200 * 90 * FINE) / FINE
    square = np.where((time / 90.0 + 0.01 * np.sin(2 * np.pi * time / 5000.0)) % 1.0 < 0.4, 5.0, 0.0)
    sections = scipy.signal.butter(2, 0.1, fs=FINE, output="sos")
    wave = scipy.signal.sosfilt(sections, square)
    truth = falling_zeros(wave, 2.5, rising=True)
    found = kurbel.edges_from_waveform(wave[::FINE].astype(np.float32), 1e6)
    rms, share = worst(found.edges["time_s"] * 1e6, truth)
    # Overshoot of 4 % lifts the midway level as found by a little.
    ok = found.report.kind == "digital" and rms <= 0.15 and 0.97 <= share <= 1.001
    failures += not ok
    print(f"Hall, {found.report.kind}: rms {rms:.4f} samples, found {share:.4f} {'' if ok else 'WRONG'}")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
