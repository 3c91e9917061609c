"""The swap test, and whether a repair holds."""
from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import _core
from ._answer import Answer
from ._arrays import as_path
from ._config import DEFAULT_FALSE_ALARM
from ._result import EVENT_DTYPE

Folders = str | os.PathLike[str] | Iterable[str | os.PathLike[str]]


def _folders(name: str, value: Folders) -> list[str]:
    if isinstance(value, (str, os.PathLike)):
        return [os.fspath(value)]
    try:
        return [os.fspath(folder) for folder in value]
    except TypeError:
        raise TypeError(f"{name}: must be a recording folder or a list of them, not {value!r}") from None


def _moves(moved: str | Mapping[int, int] | Iterable[Any]) -> list[tuple[int, int]]:
    pairs: list[Any] = moved.split() if isinstance(moved, str) else list(moved.items() if isinstance(moved, Mapping) else moved)
    moves = []
    for pair in pairs:
        try:
            source, target = pair.split(":") if isinstance(pair, str) else pair
            moves.append((int(source), int(target)))
        except (TypeError, ValueError):
            raise ValueError(f"moved: {pair!r} is not understood; write '4:1' or (4, 1) where the part of cylinder 4 went "
                             "to cylinder 1") from None
    return moves


def swap(before: Folders, after: Folders, *, moved: str | Mapping[int, int] | Iterable[Any]) -> Answer:
    """Parts were moved between cylinders: did the misfire go with its part?

    Parameters
    ----------
    before, after : path-like, or list of path-like
        Recording folders of one engine, made before and after the parts were moved.
    moved : str, mapping or list
        '4:1', {4: 1} or [(4, 1)]: the part of cylinder 4 went to cylinder 1. A lone pair is an exchange; rings are written
        '4:1 1:3 3:4'.

    Returns
    -------
    Answer
        Verdict 'followed', 'stayed', 'vanished', 'other' or 'undecided'; `evidence`: 'probabilities', 'more_seconds', 'rows' ...

    Raises
    ------
    InputError
        A folder cannot be used, engines differ, nothing was judged, or the conditions are not similar. A ValueError too.
    ValueError
        The moves cannot be: a cylinder that is not there, a part exchanged with itself, a ring that does not close.
    """
    return Answer._of(_core.swap(_folders("before", before), _folders("after", after), _moves(moved)))


def verify(
    recording: str | os.PathLike[str],
    *,
    cylinder: int,
    limit: float = 1.0,
    confidence: float = 95.0,
    before: str | os.PathLike[str] | None = None,
) -> Answer:
    """Is the misfire of a repaired cylinder gone?

    Parameters
    ----------
    recording : path-like
        Recording folder, made after the repair.
    cylinder : int
        The cylinder that was repaired.
    limit : float
        Rate from which the repair has failed, percent of the cylinder's firings, 0.01 to 50.
    confidence : float
        100 minus either error, percent, 50 to 99.99.
    before : path-like, optional
        Recording with the fault: how its misfires cluster, and under which conditions they came.

    Returns
    -------
    Answer
        Verdict 'gone', 'remains' or 'undecided'; `evidence`: 'stopped_s', 'rate_upper', 'clean_needed', 'covered' ...

    Raises
    ------
    InputError
        A folder cannot be used, or no firing of the cylinder was judged. A ValueError too.
    ValueError
        There is no such cylinder, or a limit is out of range.
    """
    other = None if before is None else as_path("before", before)
    return Answer._of(_core.verify(as_path("recording", recording), cylinder, limit, confidence, other))


class RepairTest:
    """The same test while the engine runs: push events as `Detector` gives them.

    Parameters
    ----------
    cylinder, limit, confidence
        As for `verify`.
    false_alarm : float
        Chance that a healthy firing is called a misfire (the detector's setting).
    dispersion : float
        How misfires cluster: variance of counts over that of independent losses; 1 is independent.

    Examples
    --------
    >>> test = kurbel.RepairTest(4)
    >>> test.clean_needed
    314
    """

    def __init__(self, cylinder: int, *, limit: float = 1.0, confidence: float = 95.0,
                 false_alarm: float = DEFAULT_FALSE_ALARM, dispersion: float = 1.0) -> None:
        self._test = _core.RepairTest(cylinder, limit, confidence, false_alarm, dispersion)

    def push(self, events: NDArray[Any]) -> str:
        """Take events as they come.

        Parameters
        ----------
        events : numpy.ndarray of EVENT_DTYPE
            Other cylinders' and unjudged events pass by.

        Returns
        -------
        str
            The state after them.

        Raises
        ------
        TypeError
            The array has another dtype.
        """
        array = np.ascontiguousarray(np.atleast_1d(events))
        if array.dtype != EVENT_DTYPE:
            raise TypeError(f"events: must have the dtype EVENT_DTYPE, not {array.dtype}")
        self._test.push(array)
        return self.state

    @property
    def state(self) -> str:
        """'running', 'gone', 'remains' or 'undecided'."""
        return self._test.state

    @property
    def firings(self) -> int:
        """Judged firings of the cylinder so far."""
        return self._test.firings

    @property
    def misfires(self) -> int:
        """Misfires among them."""
        return self._test.misfires

    @property
    def clean_needed(self) -> int:
        """Further firings without a misfire until 'gone'; 0 once decided."""
        return self._test.clean_needed

    @property
    def seconds_needed(self) -> float:
        """The same in seconds at the present pace; NaN while that is unknown."""
        return self._test.seconds_needed

    @property
    def decided_s(self) -> float:
        """Time of the firing that decided, seconds; NaN while running."""
        return self._test.decided_s

    @property
    def rate_upper(self) -> float:
        """Upper limit of the rate, a share; holds at whatever moment one stops."""
        return self._test.rate_upper
