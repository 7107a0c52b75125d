"""The texts: each language says all that the page can ask for; no limit is ever among it."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import pytest

from harness.config import LineFile, parse
from harness.errors import ConfigError
from harness.judge.lockout import LOCKS
from harness.line.state import Button, HeldLock, Kind, Screen, State, Verdict
from harness.line.view import ENTER, ESCAPE, SHAPES, TONES, VERDICT_TONES, view_of
from harness.line.words import FOLDER, Words, placeholders, read_words, shipped
from tests.line.conftest import UNIT, write_place

WHYS = (
    "form", "checksum", "badge-first", "other-unit", "not-now", "passed-already", "unknown-unit", "other-job",
    "step-before", "not-due", "routing-silent", "bench", "files", "internal", "lost",
)  # fmt: skip
STATE = State(
    operator="OP101", unit=UNIT, ticket=3, run_id="r", planned=40, done=10, left_s=3.2,
    locks=tuple(HeldLock(code=code, text="t", detail="9 d", lift="l") for code in LOCKS),
)  # fmt: skip


@pytest.fixture
def line(tmp_path):
    path = write_place(tmp_path)
    return parse(LineFile, Path(path).read_text(), file=path)


def test_two_languages_come_along():
    assert {"en", "de"} <= set(shipped())


@pytest.mark.parametrize("language", shipped())
def test_a_language_has_every_text(language):
    words = read_words(language)
    first = read_words("en")
    assert words.texts.keys() == first.texts.keys()
    assert all(placeholders(words.texts[key]) == placeholders(text) for key, text in first.texts.items())
    wanted = [f"button.{button}" for button in Button] + [f"verdict.{kind}" for kind in Kind]
    wanted += [f"more.{kind}" for kind in Kind] + [f"why.{why}" for why in WHYS]
    assert [key for key in wanted if key not in words.texts] == []


@pytest.mark.parametrize("language", [name for name in shipped() if name != "en"])
def test_a_language_is_not_a_copy(language):
    same = [key for key, text in read_words(language).texts.items() if text == read_words("en").texts[key]]
    assert len(same) < 0.1 * len(read_words("en").texts)


def views(line, words):
    """Every screen, with every verdict, every reason and both kinds of unit."""
    for screen in Screen:
        for why in () if screen is Screen.VERDICT else WHYS if screen is Screen.TROUBLE else ("", *WHYS):
            yield view_of(dataclasses.replace(STATE, screen=screen, why=why, detail="d"), line, words, took_s=12.3)
    for kind in Kind:
        for attempt in (1, 3):
            verdict = Verdict(
                kind=kind, item="gain", where="ch1 2V 100 %", attempt=attempt, most=3, detail="0.5 % above"
            )
            yield view_of(dataclasses.replace(STATE, screen=Screen.VERDICT, verdict=verdict), line, words)


@pytest.mark.parametrize("language", shipped())
def test_every_screen_has_words(line, language):
    words = read_words(language)
    for view in views(line, words):
        assert view["title"]
        assert all(view["lines"])
        said = [view["title"], *view["lines"], view["message"], view["takt"], *(b["label"] for b in view["buttons"])]
        for text in said:
            # A key that has no text is shown as it is.
            assert not re.fullmatch(r"[a-z]+\.[a-z_-]*", text), text
            assert "{" not in text


def test_word_colour_and_shape_go_together(line):
    words = read_words("en")
    assert set(VERDICT_TONES) == set(Kind)
    assert {*TONES.values(), *VERDICT_TONES.values(), "calm"} == set(SHAPES)
    shown = {
        kind: view_of(dataclasses.replace(STATE, screen=Screen.VERDICT, verdict=Verdict(kind=kind)), line, words)
        for kind in Kind
    }
    # The unit's verdicts and the station's differ in all three.
    for one, other in (
        (Kind.PASS, Kind.FAIL), (Kind.FAIL, Kind.STATION), (Kind.PASS, Kind.STATION), (Kind.PASS, Kind.RETEST_PASS),
        (Kind.FAIL, Kind.UNDECIDED), (Kind.FAIL, Kind.STOPPED),
    ):  # fmt: skip
        assert all(shown[one][key] != shown[other][key] for key in ("title", "tone", "shape"))


def test_the_first_failing_item_in_plain_words_and_no_limit(line):
    verdict = Verdict(
        kind=Kind.FAIL, item="fine-step", where="ch1 2V 70 %", attempt=1, most=3, detail="got 9.9 %, allowed 1 %"
    )
    view = view_of(dataclasses.replace(STATE, screen=Screen.VERDICT, verdict=verdict), line, read_words("en"))
    assert view["lines"][0] == "A wrong fine step at ch1 2V 70 %"
    assert view["lines"][-1] == "Try 1 of 3"
    assert "allowed" not in str(view)
    last = view_of(
        dataclasses.replace(STATE, screen=Screen.VERDICT, verdict=dataclasses.replace(verdict, attempt=3)),
        line,
        read_words("en"),
    )
    assert "goes to repair" in last["lines"][1]


def test_an_item_without_a_text_is_shown_by_its_name(line):
    verdict = Verdict(kind=Kind.FAIL, item="brand-new", where="")
    view = view_of(dataclasses.replace(STATE, screen=Screen.VERDICT, verdict=verdict), line, read_words("en"))
    assert view["lines"][0] == "Brand-new"


def test_keys_press_only_what_is_shown(line):
    for view in views(line, read_words("en")):
        buttons = {button["id"] for button in view["buttons"]}
        assert view["enter"] in {None, *buttons}
        assert view["escape"] in {None, *buttons} or view["screen"] == "stopping"
    assert ESCAPE[Screen.RUN] is Button.STOP
    assert Screen.RUN not in ENTER


def test_time_against_the_takt(line):
    words = read_words("en")
    assert view_of(STATE, line, words)["takt"] == ""
    assert view_of(STATE, line, words, took_s=12.4)["takt"] == "last unit 12 s, the line gives 60 s"
    free = line.model_copy(update={"takt_s": None})
    assert view_of(STATE, free, words, took_s=12.4)["takt"] == "last unit 12 s"


def test_a_language_of_the_plants_own(tmp_path):
    text = (FOLDER / "de.toml").read_text(encoding="utf-8").replace('stop = "STOPP"', 'stop = "HALT"')
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    assert read_words(str(tmp_path / "own.toml")).say("button.stop") == "HALT"


@pytest.mark.parametrize(
    ("old", "new", "key", "allowed"),
    [
        ('stop = "STOPP"\n', "", "button.stop", "a text that says: STOP"),
        ('stop = "STOPP"\n', 'stop = "STOPP"\nhalt = "x"\n', "button.halt", "only the keys of en.toml"),
        ("Versuch {attempt} von {most}", "Versuch {attempt}", "more.attempt", "a text with {attempt}, {most}"),
        ("Versuch {attempt} von {most}", "Versuch {attempt", "more.attempt", "a text with {attempt}, {most}"),
        ("[title]", "[title", "(text)", "a TOML file with the keys of en.toml"),
    ],
)
def test_a_file_of_texts_that_lacks_something_says_what(tmp_path, old, new, key, allowed):
    text = (FOLDER / "de.toml").read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "own.toml").write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(ConfigError) as refused:
        read_words(str(tmp_path / "own.toml"))
    assert [(problem.key, problem.allowed) for problem in refused.value.problems] == [(key, allowed)]


def test_a_language_that_does_not_come_along():
    with pytest.raises(ConfigError, match=r"language: got 'xx'; allowed: one of de, en, or a \.toml file"):
        read_words("xx")


def test_a_text_that_is_not_there_is_shown_by_its_key():
    assert Words({}).say("why.brand-new", detail="d") == "why.brand-new"
