"""Channels: load from what engines measure or from the crank itself, clocks aligned, values resampled."""
from __future__ import annotations

import dataclasses
import os
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import _core
from ._arrays import as_path

Floats = NDArray[np.float64]
_STANDARD_KPA = 101.325
_BETWEEN = {"hold": 0, "linear": 1}


def _floats(name: str, values: ArrayLike) -> Floats:
    try:
        return np.ascontiguousarray(values, np.float64)
    except (TypeError, ValueError) as error:
        raise TypeError(f"{name}: must be numbers") from error


def _row(name: str, values: ArrayLike) -> Floats:
    array = _floats(name, values)
    if array.ndim != 1:
        raise ValueError(f"{name}: must have one dimension, has {array.ndim}")
    return array


def _series(time_name: str, time_s: ArrayLike, value_name: str, value: ArrayLike) -> tuple[Floats, Floats]:
    times, values = _row(time_name, time_s), _row(value_name, value)
    if times.size != values.size:
        raise ValueError(f"{value_name}: has {values.size} values for {times.size} times")
    if times.size and (np.isnan(times).any() or (np.diff(times) < 0).any()):
        raise ValueError(f"{time_name}: must rise")
    return times, values


def load_from_manifold_pressure(
    manifold_kpa: ArrayLike,
    *,
    barometric_kpa: float = _STANDARD_KPA,
    compression_ratio: float = 0.0,
    exhaust_kpa: float = float("nan"),
    gamma: float = 1.3,
) -> Floats:
    """Load from absolute manifold pressure.

    Parameters
    ----------
    manifold_kpa : array_like
        Absolute pressure, 1 to 500 kPa.
    barometric_kpa : float
        Air pressure of the day, 50 to 120 kPa.
    compression_ratio : float
        0: load is the plain ratio of pressures. Above 1: the burnt gas that stays in the cylinder is taken off (ideal four-stroke,
        Heywood 1988, eq. 6.2; from memory).
    exhaust_kpa, gamma : float
        Pressure at the end of the exhaust stroke (NaN: barometric) and exponent of that gas.

    Returns
    -------
    numpy.ndarray of float64, shaped as `manifold_kpa`
        Charge over that of a cylinder filled at barometric pressure; NaN where a value is out of its range.

    Examples
    --------
    >>> load_from_manifold_pressure([50.0, 100.0], barometric_kpa=100.0)
    array([0.5, 1. ])
    """
    return _core.load_from_manifold_pressure(
        _floats("manifold_kpa", manifold_kpa), barometric_kpa=barometric_kpa, compression_ratio=compression_ratio,
        exhaust_kpa=exhaust_kpa, gamma=gamma,
    )


def load_from_air_per_stroke(
    air_mg: ArrayLike, cylinder_cm3: float, *, pressure_kpa: float = 100.0, temperature_c: float = 25.0
) -> Floats:
    """Load from the air that one cylinder takes in one stroke, mg, over what `cylinder_cm3` of the reference air weigh.

    Parameters
    ----------
    air_mg : array_like
        Air of one stroke of one cylinder.
    cylinder_cm3 : float
        Displacement of one cylinder.
    pressure_kpa, temperature_c : float
        The reference air.

    Returns
    -------
    numpy.ndarray of float64, shaped as `air_mg`
        NaN where a value is out of its range.
    """
    return _core.load_from_air_per_stroke(
        _floats("air_mg", air_mg), cylinder_cm3, pressure_kpa=pressure_kpa, temperature_c=temperature_c
    )


def load_from_air_flow(
    flow_g_s: ArrayLike,
    speed_rpm: ArrayLike,
    engine_cm3: float,
    *,
    strokes: Literal[4, 2] = 4,
    pressure_kpa: float = 100.0,
    temperature_c: float = 25.0,
) -> Floats:
    """Load from an air-flow meter, g/s, at `speed_rpm`; `engine_cm3` is the displacement of all cylinders.

    Parameters
    ----------
    flow_g_s, speed_rpm : array_like
        Broadcast against each other.
    engine_cm3 : float
        Displacement of all cylinders.
    strokes : {4, 2}
    pressure_kpa, temperature_c : float
        The reference air.

    Returns
    -------
    numpy.ndarray of float64
        NaN below 30 rpm and where a value is out of its range.
    """
    return _core.load_from_air_flow(
        _floats("flow_g_s", flow_g_s), _floats("speed_rpm", speed_rpm), engine_cm3, strokes=strokes,
        pressure_kpa=pressure_kpa, temperature_c=temperature_c,
    )


def load_from_throttle(open_deg: ArrayLike, speed_rpm: ArrayLike, **throttle: float) -> Floats:
    """Load in a steady state from how far a butterfly throttle is open from shut, degrees.

    Parameters
    ----------
    open_deg, speed_rpm : array_like
        Broadcast against each other.
    **throttle : float
        `bore_mm` (50), `closed_deg` (7), `leak_mm2` (0), `discharge` (0.8), `engine_cm3` (2000), `strokes` (4), `upstream_kpa`
        (101.325), `upstream_c` (25), `full_filling` (0.85), as kurbel/channel/load.hpp tells them.

    Returns
    -------
    numpy.ndarray of float64
        While speed or plate move, the manifold fills first: expect a few tenths of a second of lag. NaN out of range.
    """
    known = {"bore_mm": 50.0, "closed_deg": 7.0, "leak_mm2": 0.0, "discharge": 0.8, "engine_cm3": 2000.0, "strokes": 4,
             "upstream_kpa": _STANDARD_KPA, "upstream_c": 25.0, "full_filling": 0.85}
    if unknown := set(throttle) - set(known):
        raise TypeError(f"{sorted(unknown)[0]}: is not known; known are {', '.join(known)}")
    values = {**known, **throttle}
    values["strokes"] = int(values["strokes"])
    return _core.load_from_throttle(_floats("open_deg", open_deg), _floats("speed_rpm", speed_rpm), **values)


def resample(time_s: ArrayLike, value: ArrayLike, at_s: ArrayLike, *, between: Literal["hold", "linear"] = "hold") -> Floats:
    """The values of a channel at other times.

    Parameters
    ----------
    time_s, value : array_like, shape (n,)
        Samples; times rise (of equal ones the later counts). NaN: no value.
    at_s : array_like, shape (m,)
        Rising.
    between : {'hold', 'linear'}
        'hold': the last value at or before that time (switches, states, what a bus repeats when it changes). 'linear': straight
        lines (pressures, speeds, temperatures); NaN after the last sample.

    Returns
    -------
    numpy.ndarray, shape (m,)
        NaN before the first sample.
    """
    if between not in _BETWEEN:
        raise ValueError(f"between: {between!r} is not known; known are 'hold' and 'linear'")
    at = _row("at_s", at_s)
    if at.size and (np.isnan(at).any() or (np.diff(at) < 0).any()):
        raise ValueError("at_s: must rise")
    return _core.resampled(*_series("time_s", time_s, "value", value), at, _BETWEEN[between])


@dataclasses.dataclass(frozen=True)
class ClockFit:
    """How another clock reads against the reference: reference = offset_s + (1 + drift) * other. All NaN where unknown.

    `error_s` is the standard error of the offset in the middle of the record, `agreement` the correlation after the fit of speeds, or
    the share of pairs that were kept of events.
    """

    offset_s: float
    drift: float
    error_s: float
    agreement: float

    @property
    def known(self) -> bool:
        """Whether the clocks could be fitted."""
        return self.offset_s == self.offset_s

    def to_reference_s(self, other_s: ArrayLike) -> Floats:
        """Times of the other clock on the reference's.

        Parameters
        ----------
        other_s : array_like
            Seconds on the other clock.

        Returns
        -------
        numpy.ndarray of float64, shaped as `other_s`
            NaN where the clocks could not be fitted.
        """
        return np.asarray(self.offset_s + (1.0 + self.drift) * _floats("other_s", other_s))


def align_events(reference_s: ArrayLike, other_s: ArrayLike) -> ClockFit:
    """Offset and drift from the same events seen on both clocks, in order, pair by pair; outliers are left out.

    Parameters
    ----------
    reference_s, other_s : array_like, shape (n,)
        Seconds at which the n events were seen on either clock.

    Returns
    -------
    ClockFit
        Unknown with fewer than 3 pairs; drift 0 where all lie within one second.

    Raises
    ------
    ValueError
        The two differ in length.
    """
    reference, other = _row("reference_s", reference_s), _row("other_s", other_s)
    if reference.size != other.size:
        raise ValueError(f"other_s: has {other.size} events, reference_s {reference.size}")
    return ClockFit(*_core.fit_events(reference, other))


def align_speeds(
    reference_s: ArrayLike,
    reference: ArrayLike,
    other_s: ArrayLike,
    other: ArrayLike,
    *,
    most_offset_s: float = 10.0,
    most_drift: float = 1e-3,
) -> ClockFit:
    """Offset and drift from one quantity that both clocks saw (crank speed and a bus's engine speed); scale and level may differ.

    Parameters
    ----------
    reference_s, other_s : array_like, shapes (n,) and (m,)
        Seconds on either clock, rising.
    reference, other : array_like, shapes (n,) and (m,)
        The quantity at those times, each in any unit.
    most_offset_s, most_drift : float
        How far apart the clocks may be, and how unequally they may run.

    Returns
    -------
    ClockFit
        Unknown where the two are not alike, where another offset fits nearly as well, or where either stands still.

    Raises
    ------
    ValueError
        Times fall, or shapes differ.
    """
    return ClockFit(
        *_core.fit_speeds(
            *_series("reference_s", reference_s, "reference", reference), *_series("other_s", other_s, "other", other),
            most_offset_s=most_offset_s, most_drift=most_drift,
        )
    )


@dataclasses.dataclass(frozen=True, eq=False)
class CrankLoad:
    """Load that the crank's own motion tells, one value an engine cycle: an estimate, relative to this recording's highest.

    `time_s`, `load` (1 = its 95 % point) and `doubt` (standard error, the same unit) are arrays of shape (n,), empty where nothing can be
    told; then `why_not` says why. `pistons_known`: what the pistons do was taken off by their mass and the inertia.
    """

    time_s: Floats
    load: Floats
    doubt: Floats
    pistons_known: bool
    why_not: str


def load_from_crank(recording: str | os.PathLike[str]) -> CrankLoad:
    """Load of each engine cycle from the crank alone, where no channel tells it.

    Gas adds to the crank's energy at the wave of the firings in proportion to the charge, pistons and the wheel's errors in proportion to
    the square of speed; the two are told apart by that. Relative: a scale for absolute charge needs more than the crank.

    Parameters
    ----------
    recording : path-like
        Recording folder, or a file with a mapping beside it.

    Returns
    -------
    CrankLoad
        Empty arrays and `why_not` where nothing can be told.

    Raises
    ------
    InputError
        A file cannot be used. A ValueError too.
    """
    told: dict[str, Any] = _core.load_from_crank(as_path("recording", recording))
    return CrankLoad(**told)


__all__: list[str] = [
    "ClockFit", "CrankLoad", "align_events", "align_speeds", "load_from_air_flow", "load_from_air_per_stroke",
    "load_from_crank", "load_from_manifold_pressure", "load_from_throttle", "resample",
]
