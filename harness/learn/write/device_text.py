"""The device file as text: every line with how sure it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from harness.learn.explain import Explained
from harness.learn.write.parts import FieldPart, StagePart
from harness.learn.write.range_parts import RangePart
from harness.learn.write.rule import Rule
from harness.learn.write.toml import is_tables, section, shown

LEGEND = "How sure a part is stands above it; `given` was in the settings file; ± is two standard uncertainties."
MOST_WRONG = 6
"""Settings named whose word the rule does not send."""


def device_text(explained: Explained, rule: Rule, *, made_by: str) -> str:
    """A device file, ready to be swept with.

    Args:
        explained: what was found.
        rule: of the firmware, with the draft that it completes.
        made_by: program and what it learned from, for the first line.
    Returns:
        TOML with comments: known, likely, guessed or unknown.
    Source:
        none: the same content.
    """
    tables = rule.draft.tables(rule.firmware)
    lines = [f"# {made_by}", f"# {LEGEND}"]
    lines += list(_top(tables))
    for name in ("input", "converter", "acquisition"):
        lines += ["", "# given", *section(name, tables[name])]
    lines += list(_ranges(rule.draft.ranges))
    origin = "chosen" if rule.draft.settings.set_by == "adapter" else "given"
    lines += ["", f"# {origin}", *section("fine", tables["fine"])]
    lines += ["", "# ---- the signal path; the order of the stages is not known", *_stages(rule.draft.stages)]
    lines += list(_firmware(explained, rule))
    if "bus" in tables:
        lines += list(_bus(tables["bus"], rule.draft.layouts, rule.draft.bus_sure))
    lines += ["", "# given", *section("settle", tables["settle"])]
    return "\n".join(lines) + "\n"


def _top(tables: Mapping[str, Any]) -> Iterator[str]:
    for key in ("kind", "version", "name", "description", "channels", "set_by"):
        yield f"{key} = {shown(tables[key])}"
    for entry in tables["change"]:
        yield from ("", "[[change]]", *(f"{key} = {shown(value)}" for key, value in entry.items()))


def _ranges(ranges: Sequence[RangePart]) -> Iterator[str]:
    yield ""
    yield "# ---- ranges, least sensitive first"
    for part in ranges:
        yield "[[coarse]]"
        yield f"name = {shown(part.name)}"
        if part.value is not None:
            yield f"value = {shown(part.value)}"
        yield f"full_scale_vpp = {shown(part.full_scale_vpp)}"
        if part.controls:
            yield f"controls = {shown(dict(part.controls))}"
        if part.arithmetic_ratio != 1.0:
            yield f"arithmetic_ratio = {shown(part.arithmetic_ratio)}"
        yield from (f"# {note}" for note in part.notes)
        yield ""


def _stages(stages: Sequence[StagePart]) -> Iterator[str]:
    for stage in stages:
        yield f"# {stage.sure}: {stage.notes[0] if stage.notes else 'from the gains'}"
        yield from (f"# {note}" for note in stage.notes[1:])
        yield "[[stage]]"
        yield from (f"{key} = {shown(value)}" for key, value in stage.keys.items())
        yield ""


def _firmware(explained: Explained, rule: Rule) -> Iterator[str]:
    if not explained.by_words or rule.seen == 0:
        yield "# guessed: no word of a firmware was seen"
    elif rule.right == rule.seen and not rule.computes:
        yield f"# known: lists the codes of all {rule.seen} words that were seen; no rule that computes them sends all"
    elif rule.right == rule.seen:
        yield f"# known: sends all {rule.seen} words that were seen"
    else:
        wrong = ", ".join(rule.wrong[:MOST_WRONG]) + (", ..." if len(rule.wrong) > MOST_WRONG else "")
        yield f"# guessed: sends {rule.right} of {rule.seen} words that were seen; not those of {wrong}"
    yield from section("firmware", rule.firmware)
    yield ""


def _bus(bus: Mapping[str, Any], layouts: Sequence[Sequence[FieldPart]], sure: str) -> Iterator[str]:
    yield f"# {sure}"
    notes = [f"{field.control or 'fill'}: {field.note}" for layout in layouts for field in layout if field.note]
    yield from (f"# {note}" for note in notes)
    yield "[bus]"
    for key, value in bus.items():
        if is_tables(value):
            yield f"{key} = ["
            yield from (f"    {shown(entry)}," for entry in value)
            yield "]"
        else:
            yield f"{key} = {shown(value)}"
