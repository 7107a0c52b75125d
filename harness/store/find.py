"""Which run a user means."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

from harness.errors import RunNotFound

LAST = "last"
_SHOWN = 5


def find(text: str, run_ids: Sequence[str], place: str) -> str:
    """The id that a text stands for.

    Args:
        text: an id, the beginning of exactly one id, or `last`.
        run_ids: all ids, newest first.
        place: the store, for messages.
    Raises:
        RunNotFound: none or several begin so.
    """
    if not run_ids:
        raise RunNotFound(f"store {place}: no run {text!r}: the store holds no run yet; a sweep records one")
    if text == LAST:
        return run_ids[0]
    if text in run_ids:
        return text
    found = [run_id for run_id in run_ids if text and run_id.startswith(text)]
    if len(found) == 1:
        return found[0]
    if found:
        raise RunNotFound(f"store {place}: {text!r} begins {len(found)} runs: {_some(found)}; give more letters")
    raise not_found(text, run_ids, place)


def not_found(text: str, run_ids: Sequence[str], place: str) -> RunNotFound:
    """The error for a run that is not there, with the nearest ones that are."""
    near = difflib.get_close_matches(text, run_ids, n=_SHOWN, cutoff=0.6)
    words = f"nearest: {_some(near)}" if near else f"newest: {_some(run_ids) or 'none'}"
    return RunNotFound(f"store {place}: no run {text!r}; allowed: an id, its unique beginning, or {LAST!r}; {words}")


def _some(run_ids: Sequence[str]) -> str:
    more = f" and {len(run_ids) - _SHOWN} more" if len(run_ids) > _SHOWN else ""
    return ", ".join(run_ids[:_SHOWN]) + more
