"""Edges from a sensor's sampled voltage."""
from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import _core

EDGE_DTYPE: np.dtype[Any] = _core.EDGE_DTYPE
_KINDS = {None: 0, "inductive": 1, "digital": 2}
_FLANKS = {None: 0, "falling": 1, "rising": 2}
_TAKEN_AS_THEY_ARE = tuple(np.dtype(name) for name in ("f8", "f4", "i2", "i4", "u1"))


@dataclasses.dataclass(frozen=True)
class WaveformReport:
    """What a waveform says of its sensor and wiring. Unknown numbers are NaN.

    Attributes
    ----------
    findings, advice : tuple of str
        What looks wrong, in words for programs ('clipped', 'too_small', 'noisy', 'hum', 'inverted', 'kind_mistaken',
        'undersampled', 'dropouts', 'drift', 'bad_samples', 'no_signal') and for people. Empty where nothing does.
    kind : str
        'inductive', 'digital', or 'unknown' where nothing was found.
    flank : str
        'falling' or 'rising': which crossing was taken; `flank_sure` says that the other one is clearly shallower.
    swing, middle, noise : float
        Typical peak-to-peak, level of the edges, standard deviation of one sample; in units of the samples times `scale`.
    snr_db, tooth_hz, slope_samples : float
        Power of the waves over that of the noise; typical edges a second; samples between the half heights around an edge.
    hum, hum_hz : float
        Amplitude and frequency of the mains hum that was taken off.
    clipped_share, steps : float
        Share of the waves that end flat at the range's end; converter steps in a swing.
    samples, bad_samples, edges, dropouts : int
        Counts.
    """

    samples: int
    bad_samples: int
    edges: int
    dropouts: int
    kind: str
    flank: str
    flank_sure: bool
    swing: float
    middle: float
    noise: float
    snr_db: float
    tooth_hz: float
    slope_samples: float
    hum: float
    hum_hz: float
    clipped_share: float
    steps: float
    findings: tuple[str, ...]
    advice: tuple[str, ...]


@dataclasses.dataclass(frozen=True, eq=False)
class WaveformEdges:
    """Edges in order of time.

    Attributes
    ----------
    edges : numpy.ndarray, shape (n,), dtype EDGE_DTYPE
        `tick` on the clock of `tick_hz`, `time_s` after sample 0, `std_error_s` by the noise around the slope (systematic
        errors are not in it), `quality` 0 to 1, `swing`, `slope_per_s`, `flank` (1 falling, 2 rising).
    report : WaveformReport
        What was found of sensor and wiring.
    """

    edges: NDArray[Any]
    report: WaveformReport

    @property
    def ticks(self) -> NDArray[np.int64]:
        """Ticks alone, as `analyze` takes them."""
        return np.ascontiguousarray(self.edges["tick"])


def compare_waveforms(crank: WaveformReport, cam: WaveformReport) -> tuple[WaveformReport, WaveformReport]:
    """Says of two channels of one capture whether crank and cam are exchanged.

    In the same time a crank wheel passes more teeth than a cam, whatever the engine: exchanged where the "cam" gave more than twice as
    many edges as the "crank", and the crank more than eight.

    Parameters
    ----------
    crank, cam : WaveformReport
        Of the same capture, each from its first sample to its last.

    Returns
    -------
    (crank, cam) : tuple of WaveformReport
        The same reports; 'channels_swapped' stands among the findings of both where it is so, and of neither where it isn't.

    Raises
    ------
    TypeError
        The text begins with the parameter's name.

    Examples
    --------
    >>> import numpy as np
    >>> time_s = np.arange(100000) / 100e3
    >>> slow, fast = (edges_from_waveform(-np.sin(2 * np.pi * hz * time_s), 100e3).report for hz in (50, 1000))
    >>> compare_waveforms(slow, fast)[0].findings
    ('channels_swapped',)
    """
    for name, report in (("crank", crank), ("cam", cam)):
        if not isinstance(report, WaveformReport):
            raise TypeError(f"{name}: must be a WaveformReport, not {type(report).__name__}")
    word, advice, swapped = _core.channels_swapped(crank.edges, cam.edges)

    def told(report: WaveformReport) -> WaveformReport:
        kept = [(known, text) for known, text in zip(report.findings, report.advice) if known != word]
        if swapped:
            kept.append((word, advice))
        return dataclasses.replace(report, findings=tuple(known for known, _ in kept), advice=tuple(text for _, text in kept))

    return told(crank), told(cam)


def _word(parameter: str, word: str | None, known: dict[str | None, int]) -> int:
    if word in known:
        return known[word]
    words = ", ".join(repr(key) for key in known)
    raise ValueError(f"{parameter}: {word!r} is not known; known are {words}")


def edges_from_waveform(
    samples: ArrayLike,
    rate_hz: float,
    *,
    kind: str | None = None,
    flank: str | None = None,
    tick_hz: float = 1e9,
    first_tick: int = 0,
    scale: float = 1.0,
    least_swing: float = 0.0,
) -> WaveformEdges:
    """Finds the edges of a trigger wheel, crank or cam, in a sensor's sampled voltage.

    Parameters
    ----------
    samples : array_like, shape (n,)
        The voltage. Contiguous float64, float32, int16, int32 and uint8 are taken where they lie; all else is copied to float64.
        NaN and infinity count as the sample before.
    rate_hz : float
        Samples a second, 1e2 to 1e9.
    kind : {None, 'inductive', 'digital'}
        Coil, or two levels (Hall, optical). None: found out.
    flank : {None, 'falling', 'rising'}
        Which crossing is the tooth's edge. None: for a coil the steep one, rising for a digital sensor.
    tick_hz : float
        Clock of the edges; 1 ns by default.
    first_tick : int
        Tick of sample 0.
    scale : float
        Multiplies every sample: volts a count.
    least_swing : float
        Swings below this, peak to peak and after `scale`, are no tooth.

    Returns
    -------
    WaveformEdges

    Raises
    ------
    ValueError, TypeError
        The text begins with the parameter's name.

    Examples
    --------
    >>> import numpy as np
    >>> time_s = np.arange(20000) / 100e3
    >>> found = edges_from_waveform(-np.sin(2 * np.pi * 1000 * time_s), 100e3)
    >>> found.report.kind, found.report.flank
    ('inductive', 'falling')
    """
    array = np.asarray(samples)
    if array.ndim != 1:
        raise ValueError(f"samples: must have one dimension, has {array.ndim}")
    if array.dtype.kind not in "fiub":
        raise TypeError(f"samples: must be numbers, not {array.dtype}")
    if array.dtype not in _TAKEN_AS_THEY_ARE:
        array = array.astype(np.float64)
    if not math.isfinite(rate_hz):
        raise ValueError("rate_hz: must be a finite number")
    edges, report = _core.edges_from_waveform(
        np.ascontiguousarray(array),
        rate_hz=float(rate_hz),
        tick_hz=float(tick_hz),
        first_tick=int(first_tick),
        scale=float(scale),
        least_swing=float(least_swing),
        kind=_word("kind", kind, _KINDS),
        flank=_word("flank", flank, _FLANKS),
    )
    return WaveformEdges(edges, WaveformReport(**report))
