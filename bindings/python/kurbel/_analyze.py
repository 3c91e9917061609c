"""Whole recordings."""
from __future__ import annotations

import os
from collections.abc import Mapping
from typing import Any

from numpy.typing import ArrayLike

from . import _core
from ._arrays import as_path, as_signals, as_ticks, channel_rows, refuse_disorder, ticks_from_seconds
from ._config import DEFAULT_FALSE_ALARM, make_config, with_settings
from ._result import Result, Sync
from ._wheel import Wheel


def _with_wheel(config: _core.Config, wheel: Wheel | None) -> _core.Config:
    """`config` with the teeth where `wheel` says."""
    if wheel is None:
        return config
    if not isinstance(wheel, Wheel):
        raise TypeError(f"wheel: must be a kurbel.Wheel, not {type(wheel).__name__}")
    return wheel._core.use(config)


def analyze(
    recording: str | os.PathLike[str] | None = None,
    *,
    ticks: ArrayLike | None = None,
    time_s: ArrayLike | None = None,
    signals: ArrayLike | None = None,
    channels: Mapping[str, tuple[ArrayLike, ArrayLike]] | None = None,
    engine: Mapping[str, Any] | None = None,
    crank_wheel: Mapping[str, Any] | None = None,
    cam_wheel: Mapping[str, Any] | None = None,
    timer: Mapping[str, Any] | None = None,
    method: str = "work",
    false_alarm: float = DEFAULT_FALSE_ALARM,
    wheel: Wheel | None = None,
) -> Result:
    """Judge every firing of a recording.

    Give either the folder of a recording, or arrays together with `engine` and `crank_wheel`.

    Parameters
    ----------
    recording : path-like, optional
        Folder with recording.toml and edges.csv (or crank.npy), and channels.csv where there are channels; or a file of another
        kind (text, WAV, VCD, npz, HDF5, Parquet, MDF) beside which FILE.kurbel.toml says which column is what.
    ticks : array_like of int, shape (n,), optional
        Timer ticks of the edges in order of time, as the counter gave them (see `timer`). A contiguous int64 array is read
        where it lies, without a copy; do not change it meanwhile.
    time_s : array_like of float, shape (n,), optional
        Seconds in place of `ticks`; rounded to 1 ns.
    signals : array_like, shape (n,), optional
        What each edge was seen on: 0 or 'crank', 1 or 'cam'. Default: all are crank edges. Contiguous uint8 is not copied.
    channels : mapping, optional
        Name to a pair (time_s, value) of arrays of one shape. Names: 'load' (relative charge, 0 to 1 of full, at most 10), 'fuel_cut'
        (0 to 1, cut above 0.5), 'fuel_cut_N' (cylinder N alone), 'coolant_c' (-80 to 250) and 'vehicle_kmh' (0 to 600), which take
        no part in verdicts. A value holds until the next; NaN is unknown, an unknown fuel cut is none.
    engine : mapping, optional
        Table [engine] of recording.toml: `cylinders` and `firing_order` are needed; `strokes` (default 4), `firing_tdc_deg`
        (default even), `bore_mm`, `stroke_mm`, `rod_mm`, `compression_ratio`, `reciprocating_kg`, `inertia_kg_m2`, `throw`,
        `bank`.
    crank_wheel : mapping, optional
        Table [crank_wheel]: `positions` and `absent`, or `tooth_angles_deg`; `tdc1_deg`; `at` ('front', 'flywheel').
    cam_wheel : mapping, optional
        Table [cam_wheel]: `edges_deg`, crank degrees after cylinder 1's firing TDC.
    timer : mapping, optional
        Table [timer]: `hz` (ticks a second, default 1e9) and `bits` (width of a wrapping counter; 0, the default: none).
    method : {'work', 'segment-roughness'}
        Energy balance (the default), or the published classic for comparison.
    false_alarm : float
        Accepted chance that a healthy firing is called a misfire, 1e-9 to 0.1.
    wheel : Wheel, optional
        Where the teeth really stand, as `learn_wheel` found it; `Wheel.compare` says whether it is the same wheel.

    Returns
    -------
    Result
        One entry a firing. Edges that never fit the wheel give an empty result with ``sync.synchronised`` False.

    Raises
    ------
    InputError
        A file cannot be used; the text names file, line and cause. A ValueError too.
    ValueError, TypeError
        A parameter is wrong; the text begins with its name. So do edges that are mostly not in order of time, and ticks in another
        unit than told ('timer': the engine would turn below 20 or above 25000 rpm).

    See Also
    --------
    Detector : the same, while the edges come in.

    Examples
    --------
    >>> import kurbel, os
    >>> result = kurbel.analyze(os.path.join(datasets, "pickup-1-before"))
    >>> sorted(set(result.cylinder[result.misfire].tolist()))
    [4]
    """
    if recording is not None:
        given = {"ticks": ticks, "time_s": time_s, "signals": signals, "channels": channels, "engine": engine,
                 "crank_wheel": crank_wheel, "cam_wheel": cam_wheel, "timer": timer}
        for name, value in given.items():
            if value is not None:
                raise TypeError(f"{name}: a recording folder tells it already")
        read = _core.read_recording(as_path("recording", recording))
        config = _with_wheel(with_settings(read.config, method, false_alarm), wheel)
        events, sync = _core.run_recording(read, config)
        return Result(events, Sync._of(sync))

    if (ticks is None) == (time_s is None):
        raise TypeError("recording: give a recording folder, or one of ticks and time_s")
    if time_s is not None and timer is not None:
        raise TypeError("timer: goes with ticks, not with time_s")
    config = make_config(engine, crank_wheel, cam_wheel, timer, method=method, false_alarm=false_alarm)
    config = _with_wheel(config, wheel)
    edges = as_ticks(ticks) if ticks is not None else ticks_from_seconds(time_s)
    events, sync = _core.run_arrays(config, edges, as_signals(signals, edges.size), *channel_rows(channels, config))
    refuse_disorder("ticks" if ticks is not None else "time_s", sync.faults, edges.size)
    return Result(events, Sync._of(sync))
