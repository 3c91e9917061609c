"""What an analysis gives back."""
from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import _core

VERDICTS: tuple[str, ...] = _core.VERDICTS
REASONS: tuple[str, ...] = _core.REASONS
EVENT_DTYPE: np.dtype[Any] = _core.EVENT_DTYPE


@dataclasses.dataclass(frozen=True)
class Sync:
    """Counters of what the edges looked like.

    Attributes
    ----------
    edges, teeth, revolutions : int
        Edges pushed, edges taken as teeth, whole revolutions while synchronised.
    losses, extra, missed, faults : int
        Losses of synchronism, edges that are no tooth, teeth without an edge, edges dropped because time did not advance.
    synchronised : bool
        Whether the wheel's position is known at the end.
    phase : str
        'cam', 'crank', 'unknown' or 'not_needed' (two-stroke).
    """

    edges: int
    teeth: int
    revolutions: int
    losses: int
    extra: int
    missed: int
    faults: int
    synchronised: bool
    phase: str

    @classmethod
    def _of(cls, sync: _core.Sync) -> Sync:
        return cls(**{field.name: getattr(sync, field.name) for field in dataclasses.fields(cls)})


@dataclasses.dataclass(frozen=True, eq=False)
class Result:
    """Judged firings, in order of time.

    Attributes
    ----------
    events : numpy.ndarray, shape (n,), dtype EVENT_DTYPE
        One entry a firing. `verdict` and `reason` are numbers here, places in `VERDICTS` and `REASONS`.
    sync : Sync
        Counters of what the edges looked like.

    Notes
    -----
    Each field of EVENT_DTYPE is an attribute too, a view of `events` of shape (n,) without a copy: `time_s` (s), `cycle`,
    `cylinder` (0 while unknown), `speed_rpm`, `load`, `acceleration_rad_s2`, `work_j`, `work_se_j`, `expected_j` (J; NaN
    without inertia_kg_m2, and where the motion contradicts it),
    `work_per_inertia`, `work_se_per_inertia`, `expected_per_inertia` (rad^2/s^2), `severity` (0 as expected, 1 no
    combustion), `evidence`, `threshold` (healthy standard deviations), `probability` (0 to 1); `candidates` has shape
    (n, 2). `verdict` and `reason` are arrays of words.
    """

    events: NDArray[Any]
    sync: Sync

    def __len__(self) -> int:
        return len(self.events)

    def __iter__(self) -> Iterator[np.void]:
        return iter(self.events)

    def __getattr__(self, name: str) -> NDArray[Any]:
        if name in (EVENT_DTYPE.names or ()):
            return self.events[name]
        raise AttributeError(f"Result has no attribute '{name}'")

    def __eq__(self, other: object) -> bool:
        """Same bits in every field; NaN equals NaN. What is no Result is unequal, unless it says otherwise itself."""
        if not isinstance(other, Result):
            return super().__eq__(other)
        return self.sync == other.sync and all(
            np.array_equal(self.events[name], other.events[name], equal_nan=self.events[name].dtype.kind == "f")
            for name in EVENT_DTYPE.names or ()
        )

    def __repr__(self) -> str:
        judged = int(np.count_nonzero(self.events["verdict"] != VERDICTS.index("unjudged")))
        return f"<kurbel.Result: {len(self)} firings, {judged} judged, {int(self.misfire.sum())} misfires>"

    @property
    def verdict(self) -> NDArray[np.str_]:
        """'fired', 'misfire' or 'unjudged', shape (n,)."""
        return np.asarray(VERDICTS)[self.events["verdict"]]

    @property
    def reason(self) -> NDArray[np.str_]:
        """Why a firing is unjudged, '' for the others, shape (n,)."""
        return np.asarray(REASONS)[self.events["reason"]]

    @property
    def misfire(self) -> NDArray[np.bool_]:
        """True where the verdict is misfire, shape (n,)."""
        return self.events["verdict"] == VERDICTS.index("misfire")

    @property
    def judged(self) -> NDArray[np.bool_]:
        """True where the verdict is not unjudged, shape (n,)."""
        return self.events["verdict"] != VERDICTS.index("unjudged")

    def to_dict(self) -> dict[str, NDArray[Any]]:
        """Column name to array, in the order of events.csv; `candidates` keeps its shape (n, 2)."""
        columns = {name: self.events[name].copy() for name in EVENT_DTYPE.names or ()}
        return columns | {"verdict": self.verdict, "reason": self.reason}

    def to_pandas(self) -> Any:
        """A pandas.DataFrame with one row a firing; `candidates` becomes two columns. Needs pandas."""
        import pandas

        columns = self.to_dict()
        pair = columns.pop("candidates")
        return pandas.DataFrame(columns | {"candidate_1": pair[:, 0], "candidate_2": pair[:, 1]})
