"""Work and misfire of every firing, from crankshaft tooth timestamps.

`analyze` judges a whole recording (a folder, or arrays), `Detector` judges a stream while it comes in. Both use one kernel and
give the same bits.

Unknown numbers are NaN. Angles are crank degrees where a name ends in ``_deg``; times are seconds on the recording's clock,
ticks are counts of the timer. Nothing here prints, and arrays that are returned are yours: no later call changes them.
"""
from ._analyze import analyze
from ._answer import Answer
from ._balance import cranking, work
from ._channel import (
    ClockFit,
    CrankLoad,
    align_events,
    align_speeds,
    load_from_air_flow,
    load_from_air_per_stroke,
    load_from_crank,
    load_from_manifold_pressure,
    load_from_throttle,
    resample,
)
from ._core import InputError, __version__
from ._detector import Detector
from ._inspect import inspect
from ._pattern import pattern
from ._report import report
from ._result import EVENT_DTYPE, REASONS, VERDICTS, Result, Sync
from ._waveform import EDGE_DTYPE, WaveformEdges, WaveformReport, compare_waveforms, edges_from_waveform
from ._swap import RepairTest, swap, verify
from ._wheel import Wheel, WheelFit, learn_wheel

__all__ = [
    "EDGE_DTYPE",
    "EVENT_DTYPE",
    "REASONS",
    "VERDICTS",
    "Answer",
    "ClockFit",
    "CrankLoad",
    "Detector",
    "InputError",
    "RepairTest",
    "Result",
    "Sync",
    "WaveformEdges",
    "WaveformReport",
    "Wheel",
    "WheelFit",
    "__version__",
    "align_events",
    "align_speeds",
    "analyze",
    "compare_waveforms",
    "cranking",
    "edges_from_waveform",
    "inspect",
    "learn_wheel",
    "load_from_air_flow",
    "load_from_air_per_stroke",
    "load_from_crank",
    "load_from_manifold_pressure",
    "load_from_throttle",
    "pattern",
    "report",
    "resample",
    "swap",
    "verify",
    "work",
]
