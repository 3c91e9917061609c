"""The streaming class."""
from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from numpy.typing import ArrayLike, NDArray

from . import _core
from ._arrays import as_path, as_signals, as_ticks, channel_number
from ._config import DEFAULT_FALSE_ALARM, make_config, with_settings
from ._result import Sync


class Detector:
    """Judges firings while their edges come in.

    Parameters
    ----------
    engine, crank_wheel, cam_wheel, timer : mapping
        As in `analyze`.
    method : {'work', 'segment-roughness'}
    false_alarm : float
        As in `analyze`.

    Raises
    ------
    ValueError, TypeError
        A parameter is wrong; the text begins with its name.

    Notes
    -----
    Events are final when they come out, at most `delay_cycles` engine cycles after their firing. One detector belongs to one
    thread at a time; the interpreter lock is released while it works. Copies and pickles continue bit for bit (same library
    version, same kind of machine).

    See Also
    --------
    analyze : whole recordings.
    """

    def __init__(
        self,
        *,
        engine: Mapping[str, Any],
        crank_wheel: Mapping[str, Any],
        cam_wheel: Mapping[str, Any] | None = None,
        timer: Mapping[str, Any] | None = None,
        method: str = "work",
        false_alarm: float = DEFAULT_FALSE_ALARM,
    ) -> None:
        self._stream = _core.Stream(
            make_config(engine, crank_wheel, cam_wheel, timer, method=method, false_alarm=false_alarm)
        )

    @classmethod
    def for_recording(cls, folder: Any, *, method: str = "work", false_alarm: float = DEFAULT_FALSE_ALARM) -> Detector:
        """A detector for the engine that the recording in `folder` describes; its edges are not pushed.

        Parameters
        ----------
        folder : path-like
            Recording folder, or a file with a mapping beside it.
        method, false_alarm
            As in `analyze`.

        Returns
        -------
        Detector

        Raises
        ------
        InputError
            A file cannot be used.
        """
        self = cls.__new__(cls)
        self._stream = _core.Stream(with_settings(_core.read_recording(as_path("folder", folder)).config, method, false_alarm))
        return self

    def push(self, ticks: ArrayLike, signals: ArrayLike | None = None) -> NDArray[Any]:
        """Take edges and return the events that became final.

        Parameters
        ----------
        ticks : int or array_like of int, shape (n,)
            Timer ticks in order of time. A contiguous int64 array is read where it lies.
        signals : array_like, shape (n,), optional
            0 or 'crank', 1 or 'cam'; default: all crank.

        Returns
        -------
        numpy.ndarray, shape (m,), dtype EVENT_DTYPE
            Possibly empty. `kurbel.VERDICTS[event["verdict"]]` is the word.

        Raises
        ------
        RuntimeError
            After `finish`.
        """
        edges = as_ticks(ticks)
        return self._stream.push(edges, as_signals(signals, edges.size))

    def push_channel(self, tick: int, name: str, value: float) -> NDArray[Any]:
        """Take one channel value that holds for the edges pushed after it, until the next of this name.

        Parameters
        ----------
        tick : int
            When it was measured (unwrapped clock); takes no part, so push a value before the first edge that it holds for.
        name : str
            'load', 'fuel_cut', 'fuel_cut_N', 'coolant_c' or 'vehicle_kmh'.
        value : float
            NaN: unknown from here on; an unknown fuel cut is none. Ranges as in `analyze`.

        Returns
        -------
        numpy.ndarray, shape (m,), dtype EVENT_DTYPE
            As `push` does.

        Raises
        ------
        ValueError
            The name is not known, or the value is out of range.
        RuntimeError
            After `finish`.
        """
        return self._stream.push_channel(int(tick), channel_number(name, self._stream.config.cylinders), float(value))

    def finish(self) -> NDArray[Any]:
        """End the stream; afterwards only `reset` makes the detector usable again.

        Returns
        -------
        numpy.ndarray, shape (m,), dtype EVENT_DTYPE
            The events that lagged.
        """
        return self._stream.finish()

    def reset(self) -> None:
        """Back to the state after construction: everything learned is dropped."""
        self._stream.reset()

    @property
    def sync(self) -> Sync:
        """Counters of what the edges looked like so far."""
        return Sync._of(self._stream.sync)

    @property
    def delay_cycles(self) -> int:
        """Engine cycles by which an event lags its firing at most: 10, a two-stroke 11; once the engine is learned 2, a two-stroke 3."""
        return self._stream.delay_cycles

    def snapshot(self) -> bytes:
        """The whole state, configuration included.

        Returns
        -------
        bytes
            For `from_snapshot` of the same library version on the same kind of machine.
        """
        return self._stream.snapshot()

    @classmethod
    def from_snapshot(cls, snapshot: bytes) -> Detector:
        """A detector that goes on where a snapshot was taken.

        Parameters
        ----------
        snapshot : bytes
            Of `snapshot`, by the same library version on the same kind of machine.

        Returns
        -------
        Detector

        Raises
        ------
        ValueError
            The bytes cannot be used.
        """
        self = cls.__new__(cls)
        self._stream = _core.Stream.from_snapshot(snapshot)
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        return (Detector.from_snapshot, (self.snapshot(),))

    def __copy__(self) -> Detector:
        return Detector.from_snapshot(self.snapshot())

    def __deepcopy__(self, memo: dict[int, Any]) -> Detector:
        return Detector.from_snapshot(self.snapshot())
