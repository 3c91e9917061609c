#!/usr/bin/env python3
"""Prints the tables of RECORDING.md: what sampling rate or timer is enough. A test compares them with the page.

Size of a misfire, rigid crank: a cylinder that does not do its work E takes E / (J omega^2) off the speed until the next fires.
E and J are ordinary engines' (engineering ranges, from memory). A timer of step tau rounds each time by tau / sqrt(12) rms (uniform), the
time of a firing interval by sqrt(2) of that; it may spoil a tenth of the misfire at most. A waveform's edges are told to 2 % of a sample's
time where signal stands 40 dB over noise (kurbel_edge_timing measures that, up to 60 samples a tooth), and a tooth must have five samples.
"""
from math import pi, sqrt

TEETH = {"60-2": 60, "36-1": 36, "24-1": 24, "12-1": 12, "ring gear, 135 teeth": 135}
SPEEDS = (250, 800, 2000, 4000, 6000, 8000)
# engine, cylinders, strokes, rpm, lost work J, inertia kg m^2
ENGINES = (
    ("four cylinders, 2.0 l, idling", 4, 800, 100.0, 0.15),
    ("the same, 2000 rpm", 4, 2000, 200.0, 0.15),
    ("the same, 6000 rpm", 4, 6000, 150.0, 0.15),
    ("V8, 5.0 l, 6000 rpm", 8, 6000, 188.0, 0.25),
    ("V12, 6.0 l, 7000 rpm", 12, 7000, 125.0, 0.35),
    ("truck six, 12.8 l, 2000 rpm", 6, 2000, 639.0, 3.0),
    ("single, 125 cc, 8000 rpm", 1, 8000, 50.0, 0.01),
)
SAMPLES_A_TOOTH = 5
WAVEFORM_ERROR = 0.02
SHARE = 0.1


def rounded_up(value: float) -> str:
    """The next of 1, 2, 3, 5, 10 ... in Hz, kHz or MHz."""
    power = 1.0
    while power * 10 <= value:
        power *= 10
    step = next(s for s in (1, 2, 3, 5, 10) if s * power >= value * 0.999)
    number = step * power
    for unit, size in (("MHz", 1e6), ("kHz", 1e3)):
        if number >= size:
            return f"{number / size:g} {unit}"
    return f"{number:g} Hz"


def rate_table() -> str:
    """Samples a second for five samples a tooth."""
    lines = ["| wheel | " + " | ".join(f"{rpm} rpm" for rpm in SPEEDS) + " |", "|---|" + "---|" * len(SPEEDS)]
    for name, teeth in TEETH.items():
        cells = (rounded_up(SAMPLES_A_TOOTH * teeth * rpm / 60) for rpm in SPEEDS)
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def timer_table() -> str:
    """Timers, and waveforms of a 60-2 wheel."""
    lines = ["| engine | speed lost by a misfire | coarsest step | in crank degrees | timer at least | waveform of a 60-2 wheel at least |", "|---|---|---|---|---|---|"]
    for name, cylinders, rpm, work, inertia in ENGINES:
        omega = rpm * pi / 30
        lost = work / (inertia * omega**2)
        interval = 120.0 / rpm / cylinders
        step = SHARE * lost * interval * sqrt(12) / sqrt(2)
        timer = 1.0 / step
        waveform = max(SAMPLES_A_TOOTH * 60 * rpm / 60, timer * WAVEFORM_ERROR * sqrt(12))
        percent = f"{100 * lost:.1f} %" if lost > 0.01 else f"{100 * lost:.2g} %"
        microseconds = float(f"{step * 1e6:.2g}")
        lines.append(f"| {name} | {percent} | {microseconds:g} \u00b5s | {6 * rpm * step:.2g} | {rounded_up(timer)} | {rounded_up(waveform)} |")
    return "\n".join(lines)


if __name__ == "__main__":
    print(rate_table())
    print()
    print(timer_table())
