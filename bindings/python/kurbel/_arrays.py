"""Arrays of the caller: taken where they lie if they can be, converted openly if they must be, refused if they lie."""
from __future__ import annotations

import os
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import _core

_SIGNALS = {"crank": 0, "cam": 1}
_CHANNELS = {"load": 0, "fuel_cut": 1, "coolant_c": 2, "vehicle_kmh": 3}
NO_BYTES: NDArray[np.uint8] = np.empty(0, dtype=np.uint8)


def as_path(parameter: str, value: Any) -> str:
    """A path as text; the TypeError names the parameter."""
    try:
        return os.fsdecode(value)
    except TypeError:
        raise TypeError(f"{parameter}: must be the path of a recording, not {type(value).__name__}") from None


def refuse_disorder(name: str, faults: int, size: int) -> None:
    """ValueError where most edges do not come after the one before them: that is no recording with a fault, it is another order."""
    if 2 * faults > size:
        raise ValueError(f"{name}: {faults} of {size} edges do not come after the edge before them; give them in order of time, and "
                         "where a counter wraps its width as timer['bits']")


def as_ticks(ticks: ArrayLike) -> NDArray[np.int64]:
    """Ticks as contiguous int64, without a copy where they are that already.

    Other integer types are converted; numbers with a fraction are refused, since time is counted in whole ticks.
    """
    array = np.atleast_1d(np.asarray(ticks))
    if array.ndim != 1:
        raise ValueError(f"ticks: must have one dimension, has {array.ndim}")
    if array.size == 0:
        return np.empty(0, dtype=np.int64)
    if array.dtype.kind not in "iu":
        raise TypeError(f"ticks: must be whole numbers, not {array.dtype}; give seconds as time_s")
    if array.dtype.kind == "u" and int(array.max()) > np.iinfo(np.int64).max:
        raise ValueError("ticks: exceed 63 bits")
    return np.ascontiguousarray(array, dtype=np.int64)


def ticks_from_seconds(time_s: ArrayLike) -> NDArray[np.int64]:
    """Seconds as ticks of 1 ns, rounded to the nearest."""
    array = np.atleast_1d(np.asarray(time_s, dtype=np.float64))
    if array.ndim != 1:
        raise ValueError(f"time_s: must have one dimension, has {array.ndim}")
    if not np.all(np.isfinite(array)):
        raise ValueError(f"time_s: entry {int(np.argmin(np.isfinite(array)))} is not a finite number")
    if array.size and np.abs(array).max() > 9.0e9:
        raise ValueError("time_s: exceeds the clock's range of 9e9 s")
    return np.rint(array * 1.0e9).astype(np.int64)


def as_signals(signals: Any, size: int) -> NDArray[np.uint8]:
    """Signals as contiguous uint8 (0 crank, 1 cam); empty where all edges are crank edges."""
    if signals is None:
        return NO_BYTES
    array = np.atleast_1d(np.asarray(signals))
    if array.ndim != 1 or array.size != size:
        raise ValueError(f"signals: must have one entry for each of the {size} edges, has shape {array.shape}")
    if array.dtype.kind in "US":
        words = array.astype(str)
        unknown = set(np.unique(words)) - set(_SIGNALS)
        if unknown:
            raise ValueError(f"signals: '{sorted(unknown)[0]}' is not known; known are 'crank' and 'cam'")
        return np.ascontiguousarray(words == "cam", dtype=np.uint8)
    if array.dtype.kind not in "iub":
        raise TypeError(f"signals: must be 0, 1, 'crank' or 'cam', not {array.dtype}")
    if array.size and (array.min() < 0 or array.max() > 1):
        raise ValueError("signals: numbers must be 0 (crank) or 1 (cam)")
    return np.ascontiguousarray(array, dtype=np.uint8)


def channel_number(name: str, cylinders: int) -> int:
    """The number of a channel of channels.csv; raises ValueError where it is not known."""
    if name in _CHANNELS:
        return _CHANNELS[name]
    head, _, tail = str(name).rpartition("_")
    if head == "fuel_cut" and tail.isdecimal() and 1 <= int(tail) <= cylinders:
        return 8 + int(tail) - 1
    raise ValueError(f"channels.{name}: is not known; known are {', '.join(_CHANNELS)}, fuel_cut_1 to fuel_cut_{cylinders}")


def channel_rows(
    channels: Mapping[str, tuple[ArrayLike, ArrayLike]] | None, config: _core.Config
) -> tuple[NDArray[np.int64], NDArray[np.uint8], NDArray[np.float64]]:
    """All channels as one list in order of time: unwrapped tick, channel number, value."""
    ticks, numbers, values = [np.empty(0, np.int64)], [NO_BYTES], [np.empty(0)]
    for name, pair in (channels or {}).items():
        number = channel_number(name, config.cylinders)
        try:
            time_s, value = (np.atleast_1d(np.asarray(part, dtype=np.float64)) for part in pair)
        except (TypeError, ValueError):
            raise TypeError(f"channels.{name}: must be a pair (time_s, value) of number arrays") from None
        if time_s.ndim != 1 or time_s.shape != value.shape:
            raise ValueError(f"channels.{name}: time_s has shape {time_s.shape}, value {value.shape}; must be alike")
        if not np.all(np.isfinite(time_s)) or np.any(np.diff(time_s) < 0):
            raise ValueError(f"channels.{name}: time_s must be finite and must not fall")
        # A value holds from its time on: the first tick that is not before it, whatever the last bit of the product says.
        exact = time_s * config.hz
        ticks.append(np.ceil(exact - 1e-6).astype(np.int64))
        numbers.append(np.full(time_s.size, number, np.uint8))
        values.append(value)
    order = np.argsort(np.concatenate(ticks), kind="stable")
    return np.concatenate(ticks)[order], np.concatenate(numbers)[order], np.concatenate(values)[order]
