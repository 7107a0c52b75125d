"""What a screen shows, in the language of the place: words are chosen here, the browser only lays them out. Pure."""

from __future__ import annotations

from typing import Any

from harness.config import LineFile
from harness.line.state import Button, Kind, Screen, State, Verdict
from harness.line.words import Words

TONES = {
    Screen.RUN: "live",
    Screen.CHECK: "live",
    Screen.STOPPING: "stopped",
    Screen.LOCKED: "lock",
    Screen.TROUBLE: "station",
}
"""Colour by screen; `calm` where it is not in it."""
VERDICT_TONES = {
    Kind.PASS: "good",
    Kind.RETEST_PASS: "again",
    Kind.FAIL: "bad",
    Kind.UNDECIDED: "doubt",
    Kind.STATION: "station",
    Kind.STOPPED: "stopped",
    Kind.GOLDEN_SOUND: "good",
    Kind.GOLDEN_BUILDING: "calm",
    Kind.GOLDEN_OFF: "station",
}
SHAPES = {
    "good": "tick",
    "again": "tick-twice",
    "bad": "cross",
    "doubt": "question",
    "station": "warning",
    "stopped": "square",
    "lock": "padlock",
    "calm": "",
    "live": "",
}
"""Shape by colour: neither is ever alone."""
SCREEN_SHAPES = {
    Screen.BADGE: "badge",
    Screen.UNIT: "label",
    Screen.PREPARE: "hourglass",
    Screen.CHECK: "question-round",
    Screen.RUN: "wave",
    Screen.VERDICT: "hourglass",
}
"""Shape of the screens whose colour has none; the picture needs none."""
BUTTONS = {
    Screen.UNIT: (Button.SIGN_OFF,),
    Screen.PREPARE: (Button.BACK,),
    Screen.CONNECT: (Button.CONNECTED, Button.BACK),
    Screen.CHECK: (Button.STOP,),
    Screen.RUN: (Button.STOP,),
    Screen.VERDICT: (Button.NEXT,),
    Screen.LOCKED: (Button.AGAIN, Button.BACK),
    Screen.TROUBLE: (Button.AGAIN, Button.BACK),
}
ENTER = {Screen.CONNECT: Button.CONNECTED, Screen.VERDICT: Button.NEXT}
"""What the Enter key presses where nothing was typed before it."""
ESCAPE = {
    Screen.CHECK: Button.STOP,
    Screen.RUN: Button.STOP,
    Screen.STOPPING: Button.STOP,
    Screen.PREPARE: Button.BACK,
    Screen.CONNECT: Button.BACK,
}


def view_of(
    state: State, line: LineFile, words: Words, *, count: int = 0, took_s: float | None = None
) -> dict[str, Any]:
    """A screen as the browser takes it."""
    verdict = state.verdict if state.screen is Screen.VERDICT else None
    tone = VERDICT_TONES[verdict.kind] if verdict is not None else TONES.get(state.screen, "calm")
    enter, escape = ENTER.get(state.screen), ESCAPE.get(state.screen)
    return {
        "count": count,
        "screen": str(state.screen),
        "place": line.name,
        "operator": f"{words.say('page.operator')}: {state.operator or words.say('page.nobody')}",
        "unit": _unit(state, words),
        "tone": tone,
        "shape": SHAPES[tone] or SCREEN_SHAPES.get(state.screen, ""),
        "big": verdict is not None or state.screen is Screen.LOCKED,
        "title": words.say(f"verdict.{verdict.kind}") if verdict is not None else words.say(f"title.{state.screen}"),
        "lines": _lines(state, words),
        "locks": _locks(state, words),
        "message": _message(state, words),
        "picture": state.screen is Screen.CONNECT,
        "bar": _bar(state, words),
        "engineer": _engineer(state, words),
        "buttons": [
            {"id": str(button), "label": words.say(f"button.{button}")} for button in BUTTONS.get(state.screen, ())
        ],
        "enter": None if enter is None else str(enter),
        "escape": None if escape is None else str(escape),
        "takt": _takt(line, words, took_s),
        "caution": words.say("page.caution"),
        "away": words.say("page.away"),
        "away_more": words.say("page.away_more"),
    }


def _unit(state: State, words: Words) -> str:
    if not state.unit:
        return ""
    return f"{words.say('page.golden' if state.golden else 'page.unit')}: {state.unit}"


def _lines(state: State, words: Words) -> list[str]:
    if state.screen is Screen.VERDICT and state.verdict is not None:
        return _told(state.verdict, words)
    if state.screen is Screen.TROUBLE:
        return [words.say(f"why.{state.why}", detail=state.detail), words.say("say.trouble")]
    return [words.say(f"say.{state.screen}")]


def _told(verdict: Verdict, words: Words) -> list[str]:
    lines = []
    if verdict.item and verdict.kind is Kind.FAIL:
        item = words.known(f"item.{verdict.item}", verdict.item)
        where = words.say("more.where", where=verdict.where) if verdict.where else ""
        lines.append(f"{item[:1].upper()}{item[1:]} {where}".strip())
    last = verdict.kind in (Kind.FAIL, Kind.UNDECIDED) and 0 < verdict.most <= verdict.attempt
    key = "lost" if verdict.detail == "lost" else f"{verdict.kind}{'-last' if last else ''}"
    lines.append(words.say(f"more.{key}", **({"most": verdict.most} if last else {})))
    if verdict.most and verdict.kind in (Kind.FAIL, Kind.UNDECIDED):
        lines.append(words.say("more.attempt", attempt=verdict.attempt, most=verdict.most))
    return lines


def _locks(state: State, words: Words) -> list[dict[str, str]]:
    if state.screen is not Screen.LOCKED:
        return []
    return [
        {
            "code": f"{words.say('page.code')}: {lock.code}",
            "text": words.known(f"lock.{lock.code}", lock.text),
            "lift": f"{words.say('page.lift')}: {words.known(f'lift.{lock.code}', lock.lift)}",
            "detail": lock.detail,
        }
        for lock in state.locks
    ]


def _message(state: State, words: Words) -> str:
    if not state.why or state.screen is Screen.TROUBLE:
        return ""
    return words.say(f"why.{state.why}", detail=state.detail)


def _bar(state: State, words: Words) -> dict[str, Any] | None:
    if state.screen is not Screen.RUN:
        return None
    return {
        "done": state.done,
        "planned": max(state.planned, 1),
        "readings": words.say("page.readings", done=state.done, planned=state.planned),
        "left": "" if state.left_s is None else words.say("page.left", left=f"{state.left_s:.0f}"),
    }


def _engineer(state: State, words: Words) -> str:
    """Words of the program, small; none where they would tell an operator the limits."""
    detail = ""
    if state.screen is Screen.TROUBLE:
        detail = state.detail
    elif state.screen is Screen.VERDICT and state.verdict is not None and state.verdict.detail != "lost":
        detail = state.verdict.detail if state.verdict.kind is Kind.STATION else ""
    return f"{words.say('page.engineer')}: {detail}" if detail else ""


def _takt(line: LineFile, words: Words, took_s: float | None) -> str:
    if took_s is None:
        return ""
    if line.takt_s is None:
        return words.say("page.took", took=f"{took_s:.0f}")
    return words.say("page.takt", took=f"{took_s:.0f}", takt=f"{line.takt_s:.0f}")
