"""Where and when an engine misfires."""
from __future__ import annotations

import os

from . import _core
from ._answer import Answer
from ._arrays import as_path


def pattern(*recordings: str | os.PathLike[str]) -> Answer:
    """Say under which conditions an engine misfires, and how misfires follow one another.

    Parameters
    ----------
    *recordings : path-like
        One or more recording folders of one engine; recordings at other speeds and loads are compared together.

    Returns
    -------
    Answer
        Verdict: the pattern of the cylinder that misfires most, 'none', 'random', 'bursts', 'periodic', 'continuous' or
        'undecided'. `evidence`: 'cylinders' (rate with 95 % interval, kind, runs), 'conditions' (p-values, adjusted for all
        tests after Holm; which way the rate leans, ratio with interval), 'ranges' (rate by range of each condition),
        'common_for' (causes; common practice, no source), 'next' (the measurement that would separate them, seconds).

    Raises
    ------
    InputError
        A folder cannot be used, engines differ, or no firing was judged. A ValueError too.
    ValueError
        No recording was given.

    Examples
    --------
    >>> import kurbel, os
    >>> answer = kurbel.pattern(os.path.join(datasets, "pickup-1-before"))
    >>> answer.verdict
    'random'
    """
    return Answer._of(_core.pattern([as_path("recordings", recording) for recording in recordings]))
