"""One page over results and answers."""
from __future__ import annotations

import os

from . import _core


def report(*folders: str | os.PathLike[str], out: str | os.PathLike[str], title: str = "", note: str = "") -> None:
    """Write one HTML page over folders of ``kurbel analyze`` and of answers, to read, print and hand over.

    Parameters
    ----------
    *folders : path-like
        Folders with summary.json (of ``kurbel analyze --out``) or answer.json (`Answer.save`), in the order to be read.
    out : path-like
        Where the page is written, whole or not at all. An earlier report is replaced, nothing else is.
    title, note : str, optional
        Headline, and a line below it (vehicle, order number, date).

    Raises
    ------
    InputError
        A folder is no result and no answer, a file in it cannot be used, or `out` is taken. A ValueError too.
    ValueError
        No folder was given.

    Examples
    --------
    >>> import kurbel, os, tempfile
    >>> place = tempfile.TemporaryDirectory()
    >>> kurbel.pattern(os.path.join(datasets, "pickup-1-before")).save(os.path.join(place.name, "pattern"))
    >>> kurbel.report(os.path.join(place.name, "pattern"), out=os.path.join(place.name, "report.html"))
    >>> with open(os.path.join(place.name, "report.html"), encoding="utf-8") as page:
    ...     "Where and when" in page.read()
    True
    >>> place.cleanup()
    """
    _core.write_report([os.fspath(folder) for folder in folders], os.fspath(out), title, note)
