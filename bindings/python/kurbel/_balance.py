"""Cylinders against each other: their work while the engine runs, their compression while the starter turns it."""
from __future__ import annotations

import os

from . import _core
from ._answer import Answer
from ._arrays import as_path


def work(recording: str | os.PathLike[str], *, limit: float = 2.0) -> Answer:
    """Compare the cylinders' mean work and scatter while the engine runs.

    Parameters
    ----------
    recording : path-like
        Recording folder; a minute of idle tells a cylinder that does 5 % less than the one which fires a revolution later.
    limit : float
        Difference in percent of a cylinder's work that counts, 0.5 to 30.

    Returns
    -------
    Answer
        Verdict: 'even', 'uneven' or 'undecided'. `evidence`: 'cylinders' (per cylinder: percent beyond the mean of the others,
        against its partner a revolution on, work in joules where geometry and inertia are told, scatter from cycle to cycle,
        each with a 95 % range), 'mean_rpm', 'mean_work_j', 'size_doubt'.

    Raises
    ------
    InputError
        The folder cannot be used: too few cycles, cranking, a single cylinder. A ValueError too.
    ValueError
        The limit is out of range.

    Examples
    --------
    >>> import kurbel, os
    >>> answer = kurbel.work(os.path.join(datasets, "pickup-3-repaired"))
    >>> len(answer.evidence["cylinders"])
    5
    """
    return Answer._of(_core.work(as_path("recording", recording), float(limit)))


def cranking(recording: str | os.PathLike[str], *, limit: float = 10.0) -> Answer:
    """Compare the cylinders' compression while the starter alone turns the engine.

    Parameters
    ----------
    recording : path-like
        Recording folder: fuel and ignition disabled, throttle open, five to ten seconds of cranking.
    limit : float
        Percent below the best cylinder that still count as even, 1 to 60.

    Returns
    -------
    Answer
        Verdict: 'even', 'uneven' or 'undecided'. `evidence['cylinders']`: per cylinder 'percent' (gauge pressure at TDC over the
        best cylinder's) with its 95 % range 'low' to 'high', 'filling_percent', 'leak_percent'; 'cylinder' is None and
        'candidates' holds two where no cam tells the phase. Wear that all cylinders share is invisible.

    Raises
    ------
    InputError
        The folder cannot be used: the engine runs, or too few cycles. A ValueError too.
    ValueError
        The limit is out of range.

    Examples
    --------
    >>> import kurbel, os
    >>> answer = kurbel.cranking(os.path.join(datasets, "pickup-cranking"))
    >>> min(answer.evidence["cylinders"], key=lambda row: row["percent"])["cylinder"]
    5
    """
    return Answer._of(_core.cranking(as_path("recording", recording), float(limit)))
