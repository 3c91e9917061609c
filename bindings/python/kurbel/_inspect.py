"""What edges alone tell."""
from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from typing import Any

from numpy.typing import ArrayLike

from . import _core
from ._answer import Answer
from ._arrays import as_path, as_signals, as_ticks, ticks_from_seconds


def inspect(
    recording: str | os.PathLike[str] | None = None,
    *,
    ticks: ArrayLike | None = None,
    time_s: ArrayLike | None = None,
    signals: ArrayLike | None = None,
    timer: Mapping[str, Any] | None = None,
    fuel_cut_s: Sequence[tuple[float, float]] = (),
) -> Answer:
    """Find out which wheel, cam and engine edges come from, without a description of any of them.

    Parameters
    ----------
    recording : path-like, optional
        Recording folder, whose recording.toml may be missing or unfinished, or an edges.csv. Else arrays:
    ticks, time_s, signals
        As in `analyze`.
    timer : mapping, optional
        `hz` (ticks a second, default 1e9) and `bits` (width of a wrapping counter; 0, the default: none).
    fuel_cut_s : sequence of (from, to)
        Seconds without fuel on the unwrapped clock; a fuel cut shows TDC best.

    Returns
    -------
    Answer
        Verdict: how sure the wheel is, 'sure', 'likely' or 'not sure'. `evidence`: 'wheel', 'second_line', 'engine', 'tdc', each
        with 'sureness', 'confidence' (0 to 1), 'why' and 'raise' (what would make it surer); 'against_description', where there
        is one; 'next_step'; 'draft_recording_toml'. A person has to confirm all of it.

    Raises
    ------
    InputError
        A file cannot be used. A ValueError too.
    ValueError, TypeError
        A parameter is wrong; the text begins with its name.

    Examples
    --------
    >>> import kurbel, os
    >>> kurbel.inspect(os.path.join(datasets, "pickup-road")).evidence["wheel"]["name"]
    '36-1'
    """
    if recording is not None:
        for name, value in {"ticks": ticks, "time_s": time_s, "signals": signals, "timer": timer}.items():
            if value is not None:
                raise TypeError(f"{name}: a recording folder tells it already")
        return Answer._of(_core.inspect_input(as_path("recording", recording)))
    if (ticks is None) == (time_s is None):
        raise TypeError("recording: give a recording folder, or one of ticks and time_s")
    if time_s is not None and timer is not None:
        raise TypeError("timer: goes with ticks, not with time_s")
    edges = as_ticks(ticks) if ticks is not None else ticks_from_seconds(time_s)
    clock = {"hz": 1e9, "bits": 0, **(timer or {})}
    if unknown := set(clock) - {"hz", "bits"}:
        raise ValueError(f"timer: {sorted(unknown)[0]} is not known; known are hz and bits")
    cuts = [(float(begin), float(end)) for begin, end in fuel_cut_s]
    return Answer._of(
        _core.inspect_arrays(edges, as_signals(signals, edges.size), float(clock["hz"]), int(clock["bits"]), cuts)
    )
