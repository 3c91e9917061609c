"""The published classic in NumPy: segment roughness with the cubed period, over a whole recording of an even-firing engine.

    LU_n = (T_n - T_{n-1}) / T_n^3 - (T_{n+z} - T_{n-z}) / (2 z T_n^3)

T_n is the period from firing n's TDC to the next one, z the number of segments in a cycle (Plapp, Klenk, Moser, SAE 900232, 1990;
the span of the second term from memory). The publication numbers the same difference by the segment before it; here, as in
kurbel/stage/segment_roughness.hpp, it bears the number of the firing that made it. What a researcher would write who has the tooth times of a 60-2 wheel in an array:
find the gap by the ratio of neighbouring periods, place the TDCs between teeth, take differences. No phase, no loss of
synchronism, no channels, no verdict: less than the library does.
"""
import argparse
import time
from pathlib import Path

import numpy as np


def segment_roughness(ticks, hz, positions, absent, tdc1_deg, firing_deg):
    """LU in 1/s^2 for every firing whose cycle neighbours exist, and the time (s) of its TDC."""
    period = np.diff(ticks)
    gap = np.flatnonzero(period[1:] * 2 > period[:-1] * (absent + 1) * 4 // 3) + 1
    # Keep gaps that are a whole wheel apart: the others are speed changes at a standstill.
    teeth = positions - absent
    first = gap[0] + 1
    index = np.arange(first, ticks.size) - first
    revolution, tooth = np.divmod(index, teeth)
    if not np.array_equal(gap[1:] + 1 - first, np.arange(1, gap.size) * teeth):
        raise ValueError("a tooth is missing: this script needs a perfect recording")
    angle = revolution * 360.0 + tooth * (360.0 / positions)
    tdc = np.arange(tdc1_deg, angle[-1], firing_deg)
    tdc_s = np.interp(tdc, angle, ticks[first:]) / hz
    length = np.diff(tdc_s)
    z = int(round(720.0 / firing_deg))
    here = length[z:-z]
    before = length[z - 1 : -z - 1]
    trend = (length[2 * z :] - length[: -2 * z]) / (2 * z)
    return (here - before - trend) / here**3, tdc_s[z : z + here.size]


class StreamRoughness:
    """The same while teeth come in: takes any number of them at a time, gives the firings that became final."""

    def __init__(self, hz, positions, absent, tdc1_deg, firing_deg):
        self.hz, self.step_deg, self.firing_deg = hz, 360.0 / positions, firing_deg
        self.teeth = positions - absent
        self.z = int(round(720.0 / firing_deg))
        self.ratio = (absent + 1) * 2 / 3
        self.last = np.empty(0, dtype=np.int64)
        self.last_deg = np.empty(0)
        self.next_tdc_deg = tdc1_deg
        self.count = None
        self.tdc_s = []

    def push(self, ticks):
        ticks = np.concatenate([self.last, ticks])
        if self.count is None:
            period = np.diff(ticks)
            gap = np.flatnonzero(period[1:] > period[:-1] * self.ratio)
            if gap.size == 0:
                self.last = ticks
                return []
            ticks = ticks[gap[0] + 2 :]
            new, self.count, self.last_deg = ticks.size, 0, np.empty(0)
        else:
            new = ticks.size - self.last.size
        revolution, tooth = np.divmod(np.arange(self.count, self.count + new), self.teeth)
        angle = np.concatenate([self.last_deg, revolution * 360.0 + tooth * self.step_deg])
        self.count += new
        given = []
        while self.next_tdc_deg < angle[-1]:
            self.tdc_s.append(np.interp(self.next_tdc_deg, angle, ticks) / self.hz)
            self.next_tdc_deg += self.firing_deg
            if len(self.tdc_s) > 2 * self.z + 1:
                length = np.diff(self.tdc_s[-2 * self.z - 2 :])
                here = length[self.z]
                trend = (length[2 * self.z] - length[0]) / (2 * self.z)
                given.append((here - length[self.z - 1] - trend) / here**3)
                del self.tdc_s[0]
        self.last, self.last_deg = ticks[-1:], angle[-1:]
        return given


def stream_roughness(ticks, hz, positions, absent, tdc1_deg, firing_deg, block=None):
    """All firings of a recording through StreamRoughness, `block` teeth at a time: those of one firing where it is not given."""
    stream = StreamRoughness(hz, positions, absent, tdc1_deg, firing_deg)
    block = block or int(positions * firing_deg / 360.0)
    given = []
    for i in range(0, ticks.size, block):
        given += stream.push(ticks[i : i + block])
    return np.array(given)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("recording", type=Path, help="folder with crank.npy in ticks")
    parser.add_argument("--hz", type=float, default=1.0e9)
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    ticks = np.load(given.recording / "crank.npy")
    ways = {
        "whole": lambda *a: segment_roughness(*a)[0],
        "firing by firing": stream_roughness,
        "edge by edge": lambda *a: stream_roughness(*a, block=1),
    }
    for name, work in ways.items():
        seconds = []
        for _ in range(given.rounds):
            begin = time.process_time()
            lu = work(ticks, given.hz, 60, 2, 84.0, 180.0)
            seconds.append(time.process_time() - begin)
        print(f"{name}: {min(seconds) / ticks.size * 1e9:.2f} ns a tooth, {lu.size} firings, {ticks.size} teeth")


if __name__ == "__main__":
    main()
