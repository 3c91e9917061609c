"""Learned wheels: where the teeth of the crank wheel really stand."""
from __future__ import annotations

import os
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from . import _core
from ._arrays import as_path


class WheelFit(NamedTuple):
    """How a learned wheel fits another recording."""

    log_odds: float  #: natural, that it is this wheel rather than another as uneven; beyond +-6.9 it is sure
    left_deg: float  #: how far teeth still stand from it, root mean square, crank degrees
    chi_square: float  #: of what is left over its variance
    degrees_of_freedom: int

    @property
    def same(self) -> bool | None:
        """True or False with odds of 1000 to 1, None where the recording does not tell."""
        return None if abs(self.log_odds) <= 6.9 or self.degrees_of_freedom == 0 else self.log_odds > 0.0


class Wheel:
    """The teeth of one crank wheel, each with the error that was learned and its standard error.

    Examples
    --------
    >>> import kurbel, os
    >>> wheel = kurbel.learn_wheel(os.path.join(datasets, "pickup-road"))
    >>> wheel.error_deg.shape
    (35,)
    """

    def __init__(self, core: _core.LearnedWheel) -> None:
        self._core = core

    @classmethod
    def read(cls, path: str | os.PathLike[str]) -> Wheel:
        """Read a wheel file.

        Parameters
        ----------
        path : path-like
            As `write`, or ``kurbel learn-wheel``, wrote it.

        Returns
        -------
        Wheel

        Raises
        ------
        InputError
            The file cannot be used; the text names file, line and cause.
        """
        return cls(_core.LearnedWheel.read(os.fspath(path)))

    def write(self, path: str | os.PathLike[str]) -> None:
        """Write a wheel file, whole or not at all.

        Parameters
        ----------
        path : path-like
            An earlier file there is replaced.

        Raises
        ------
        InputError
            The file cannot be written.
        """
        self._core.write(os.fspath(path))

    @property
    def angle_deg(self) -> NDArray[np.float64]:
        """Where each tooth should stand, crank degrees from place 0, shape (teeth,)."""
        return self._core.angle_deg

    @property
    def error_deg(self) -> NDArray[np.float64]:
        """How much farther on it stands (it comes later), crank degrees, shape (teeth,); the mean is 0."""
        return self._core.error_deg

    @property
    def standard_error_deg(self) -> NDArray[np.float64]:
        """Standard error of each, crank degrees, shape (teeth,)."""
        return self._core.standard_error_deg

    @property
    def revolutions(self) -> int:
        """Revolutions that were learned from."""
        return self._core.revolutions

    def compare(self, recording: str | os.PathLike[str]) -> WheelFit:
        """Hold the wheel against another recording.

        Parameters
        ----------
        recording : path-like
            Recording folder, or a file with a mapping beside it.

        Returns
        -------
        WheelFit
            Whether it is the same wheel, and what is left.

        Raises
        ------
        InputError
            A file cannot be used, or that wheel is made in another way.
        """
        return WheelFit(*self._core.compare(_core.read_recording(as_path("recording", recording))))


def learn_wheel(recording: str | os.PathLike[str]) -> Wheel:
    """Learn from a recording where its wheel's teeth really stand.

    Revolutions around misfires are set aside. Best from a recording in which the speed doubles, or with 50 revolutions of fuel
    cut; what a narrow range of speeds leaves open is in `standard_error_deg`.

    Parameters
    ----------
    recording : path-like
        Recording folder, or a file with a mapping beside it.

    Returns
    -------
    Wheel

    Raises
    ------
    InputError
        A file cannot be used. ValueError: no engine cycle in which every tooth was seen.
    """
    return Wheel(_core.LearnedWheel.learn(_core.read_recording(as_path("recording", recording))))
