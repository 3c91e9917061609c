"""Keyword tables, with the names of recording.toml, into the compiled configuration."""
from __future__ import annotations

import difflib
import math
import operator
from collections.abc import Iterable, Mapping
from typing import Any

from . import _core

_KEYS = {
    "engine": (
        "strokes", "cylinders", "firing_order", "firing_tdc_deg", "bore_mm", "stroke_mm", "rod_mm", "compression_ratio",
        "reciprocating_kg", "inertia_kg_m2", "throw", "bank",
    ),
    "crank_wheel": ("positions", "absent", "tooth_angles_deg", "tdc1_deg", "at"),
    "cam_wheel": ("edges_deg",),
    "timer": ("hz", "bits"),
}

DEFAULT_FALSE_ALARM = 2.0e-5


def _table(name: str, table: Mapping[str, Any] | None) -> Mapping[str, Any]:
    """`table` itself once every key of it is known; an absent table is an empty one."""
    if table is None:
        return {}
    if not isinstance(table, Mapping):
        raise TypeError(f"{name}: must be a mapping such as {{'{_KEYS[name][0]}': ...}}, not {type(table).__name__}")
    for key in table:
        if key not in _KEYS[name]:
            near = difflib.get_close_matches(str(key), _KEYS[name], n=1)
            hint = f"; did you mean '{near[0]}'?" if near else f"; known are {', '.join(_KEYS[name])}"
            raise ValueError(f"{name}.{key}: is not known{hint}")
    return table


def _integer(parameter: str, value: Any) -> int:
    try:
        number = operator.index(value)
    except TypeError:
        raise TypeError(f"{parameter}: must be a whole number, not {value!r}") from None
    if not -(2**31) <= number < 2**31:
        raise ValueError(f"{parameter}: {number} is out of all reason")
    return number


def _number(parameter: str, value: Any) -> float:
    if isinstance(value, (str, bytes)):
        raise TypeError(f"{parameter}: must be a number, not {value!r}")
    try:
        return float(value)
    except (TypeError, ValueError):
        raise TypeError(f"{parameter}: must be a number, not {value!r}") from None


def _list(parameter: str, values: Any, convert: Any) -> list[Any]:
    if values is None:
        return []
    if isinstance(values, (str, bytes)) or not isinstance(values, Iterable):
        raise TypeError(f"{parameter}: must be a list, not {values!r}")
    return [convert(f"{parameter}[{i}]", value) for i, value in enumerate(values)]


def _required(name: str, table: Mapping[str, Any], key: str) -> Any:
    if key not in table:
        raise ValueError(f"{name}.{key}: is missing")
    return table[key]


def _engine(table: Mapping[str, Any]) -> _core.Engine:
    cylinders = _integer("engine.cylinders", _required("engine", table, "cylinders"))
    engine = _core.Engine(
        strokes=_integer("engine.strokes", table.get("strokes", 4)),
        cylinders=cylinders,
        firing_order=_list("engine.firing_order", _required("engine", table, "firing_order"), _integer),
        firing_tdc_deg=_list("engine.firing_tdc_deg", table.get("firing_tdc_deg"), _number),
        throw=_list("engine.throw", table.get("throw"), _integer),
        bank=_list("engine.bank", table.get("bank"), _integer),
    )
    geometry = ("bore_mm", "stroke_mm", "rod_mm", "compression_ratio", "reciprocating_kg", "inertia_kg_m2")
    engine.set_geometry(**{key: _number(f"engine.{key}", table.get(key, math.nan)) for key in geometry})
    return engine


def _wheel(table: Mapping[str, Any]) -> _core.Wheel:
    if ("positions" in table) == ("tooth_angles_deg" in table):
        raise ValueError("crank_wheel: needs either positions (and absent) or tooth_angles_deg")
    if "positions" in table:
        positions = _integer("crank_wheel.positions", table["positions"])
        return _core.Wheel.even(positions, _list("crank_wheel.absent", table.get("absent"), _integer))
    if "absent" in table:
        raise ValueError("crank_wheel.absent: goes with positions, not with tooth_angles_deg")
    return _core.Wheel.listed(_list("crank_wheel.tooth_angles_deg", table["tooth_angles_deg"], _number))


def make_config(
    engine: Mapping[str, Any] | None,
    crank_wheel: Mapping[str, Any] | None,
    cam_wheel: Mapping[str, Any] | None,
    timer: Mapping[str, Any] | None,
    *,
    method: str = "work",
    false_alarm: float = DEFAULT_FALSE_ALARM,
) -> _core.Config:
    """The checked configuration; raises ValueError or TypeError that begins with the parameter ("engine.cylinders: ...")."""
    if engine is None or crank_wheel is None:
        raise ValueError(f"{'engine' if engine is None else 'crank_wheel'}: is needed where no recording folder tells it")
    wheel = _table("crank_wheel", crank_wheel)
    clock = _table("timer", timer)
    config = _core.Config(
        engine=_engine(_table("engine", engine)),
        wheel=_wheel(wheel),
        tdc1_deg=_number("crank_wheel.tdc1_deg", _required("crank_wheel", wheel, "tdc1_deg")),
        at=wheel.get("at") or "",
        cam_edges_deg=_list("cam_wheel.edges_deg", _table("cam_wheel", cam_wheel).get("edges_deg"), _number),
        hz=_number("timer.hz", clock.get("hz", 1.0e9)),
        bits=_integer("timer.bits", clock.get("bits", 0)),
    )
    return with_settings(config, method, false_alarm)


def with_settings(config: _core.Config, method: str, false_alarm: float) -> _core.Config:
    """`config` with these settings, checked."""
    if not isinstance(method, str):
        raise TypeError(f"method: must be a string, not {method!r}")
    return config.with_settings(method, _number("false_alarm", false_alarm))
