"""The gate of the room: no number that is not finite goes into a page or file."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable

from harness.errors import NotFinite
from harness.values import RunResult


def require_finite(result: RunResult) -> None:
    """Whether every number of a result can be shown.

    Args:
        result: of a run.
    Raises:
        NotFinite: a number is NaN or infinite; the message names the record, its place and the field.
    """
    for name in ("settings", "steps", "judgements"):
        for index, record in enumerate(getattr(result, name)):
            for field in dataclasses.fields(record):
                _require(getattr(record, field.name), f"{name}[{index}].{field.name}", of=_place(record))
    _require_all((value for _, _, value in result.worst), "worst")
    _require_all(result.gain_limit_percent, "gain_limit_percent")
    _require_all(result.step_limit_percent, "step_limit_percent")
    _require(result.gain_guard_percent, "gain_guard_percent", of="")


def _require_all(values: Iterable[object], name: str) -> None:
    for index, value in enumerate(values):
        _require(value, f"{name}[{index}]", of="")


def _require(value: object, name: str, *, of: str) -> None:
    if isinstance(value, float) and not math.isfinite(value):
        raise NotFinite(
            f"report: {name}{of} is {value!r}; allowed is a finite number or none; judge the run again from its record"
        )


def _place(record: object) -> str:
    setting = getattr(record, "setting", None) or getattr(record, "upper", None)
    return f" (channel {setting.channel}, coarse {setting.coarse}, fine {setting.fine})" if setting else ""
