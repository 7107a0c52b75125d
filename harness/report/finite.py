"""The gate of the room: no number that is not finite goes into a page or file."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable
from typing import Any

from harness.errors import NotFinite
from harness.values import RunResult


def require_finite(result: RunResult) -> None:
    """Whether every number of a result can be shown.

    Args:
        result: of a run.
    Raises:
        NotFinite: a number is NaN or infinite; the message names the record, its place and the field.
    """
    for name in ("settings", "steps", "judgements", "parameters", "budgets"):
        _require_records(getattr(result, name), name)
    for index, budget in enumerate(result.budgets):
        _require_records(budget.rows, f"budgets[{index}].rows")
    _require_all((value for _, _, value in result.worst), "worst")
    _require_all(result.gain_limit_percent, "gain_limit_percent")
    _require_all(result.step_limit_percent, "step_limit_percent")
    _require(result.gain_guard_percent, "gain_guard_percent", of="")


def require_finite_records(records: Iterable[Any], name: str) -> None:
    """Whether every number of some records can be shown.

    Args:
        records: of one type or of several.
        name: of them, for the message.
    Raises:
        NotFinite: a number is NaN or infinite; the message names the record, its place and the field.
    """
    _require_records(records, name)


def _require_records(records: Iterable[Any], name: str) -> None:
    fields: dict[type, tuple[str, ...]] = {}
    for index, record in enumerate(records):
        for field in fields.get(type(record)) or fields.setdefault(type(record), _numbers_of(record)):
            value = getattr(record, field)
            # A run of ten thousand settings has a million numbers: words are made only for one that is not finite.
            if isinstance(value, float) and not math.isfinite(value):
                _require(value, f"{name}[{index}].{field}", of=_place(record))


def _numbers_of(record: Any) -> tuple[str, ...]:
    """Names of the fields that may hold a number."""
    return tuple(field.name for field in dataclasses.fields(record) if "float" in str(field.type))


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
