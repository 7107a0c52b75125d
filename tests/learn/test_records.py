"""Learning from records: a CSV that somebody kept, captures by setting."""

from __future__ import annotations

import csv
import datetime

import pytest

from harness.config import SettingsFile, validate
from harness.errors import LearnError, UsageError
from harness.learn import (
    captures_of,
    device_text,
    draft_of,
    explain,
    find_rule,
    gather_captures,
    gather_records,
    hear,
    labelled,
    read_gains,
    setting_of_stem,
)
from harness.learn.account_facts import facts
from harness.learn.explain import Shape
from harness.learn.listen import Move
from harness.learn.write.draft import NOT_HEARD
from harness.values import Realness, Setting
from tests.learn.random_bench import random_bench
from tests.learn.random_truth import Truth
from tests.learn.session import settings_of

DATE = datetime.date(2026, 11, 30)
HEAD = "channel,coarse,fine,gain,word\n"


def settings(**changes: object) -> SettingsFile:
    """Two ranges, twelve fine positions, one channel."""
    tables = settings_of(Truth(11)).model_dump(exclude_unset=True) | {"channels": 1}
    tables["coarse"] = [{"name": "low", "value": 0.0}, {"name": "high", "value": 1.0}]
    tables["fine"] = {"first_db": 0.0, "last_db": 11.0, "count": 12}
    return validate(SettingsFile, tables | changes, file="settings")


def text(*, words: bool = True) -> str:
    """Gain 3 codes/V for each code, times 5 with the first bit."""
    lines = ["# kept by somebody", HEAD.strip() if words else HEAD.strip().removesuffix(",word")]
    for coarse, name in enumerate(("low", "high")):
        for fine in range(12):
            code = 20 + 7 * fine
            cells = ["1", name, str(fine), repr(3.0 * code * 5.0**coarse)]
            lines.append(",".join([*cells, f"{coarse}{code:07b}"] if words else cells))
    return "\n".join(lines) + "\n"


def test_words_and_gains_of_a_file_are_explained_and_nothing_is_called_hardware() -> None:
    recorded = read_gains(text(), settings=settings(), file="kept.csv")
    gathered, wiring = gather_records(recorded)
    assert wiring is not None
    found = explain(gathered.observed, waves={})
    assert found.law is not None
    assert found.law.hypothesis.shape is Shape.LINEAR_CODE
    assert {part.realness for part in found.parts} == {Realness.UNPROVEN}
    rule = find_rule(found, draft_of(found, settings(), wiring, date=DATE, owner="x"))
    assert rule.seen == 24


def test_lines_that_nobody_heard_are_unknown_in_the_file_and_in_the_story() -> None:
    gathered, wiring = gather_records(read_gains(text(), settings=settings(), file="kept.csv"))
    found = explain(gathered.observed, waves={})
    rule = find_rule(found, draft_of(found, settings(), wiring, date=DATE, owner="x", bus_sure=NOT_HEARD))
    bus = rule.draft.tables(rule.firmware)["bus"]
    assert bus["lines"] == ["unknown-data", "unknown-clock", "unknown-latch-1"]
    assert not [key for key in bus if "edge" in key]
    assert "# unknown: words were given and no line was heard" in device_text(found, rule, made_by="made here")
    told = {fact.text: fact.sure for fact in facts(gathered, found, rule, settings())}
    assert told["No line was heard: which wire is data, clock or latch, and on which edge it acts."] == "unknown"


def test_codes_that_no_rule_computes_are_not_called_a_rule() -> None:
    """Every seventh code, as no rule with names of 1 dB would choose."""
    gathered, wiring = gather_records(read_gains(text(), settings=settings(), file="kept.csv"))
    found = explain(gathered.observed, waves={})
    rule = find_rule(found, draft_of(found, settings(), wiring, date=DATE, owner="x"))
    assert not rule.computes
    told = {fact.text: fact.sure for fact in facts(gathered, found, rule, settings())}
    assert told["How the firmware comes by its codes: no rule that computes them sends all words."] == "unknown"
    assert not any(text.startswith("The firmware's rule") for text in told)
    assert "# known: lists the codes of all 24 words" in device_text(found, rule, made_by="made here")


def test_gains_without_words_are_explained_by_the_fine_position() -> None:
    gathered, wiring = gather_records(read_gains(text(words=False), settings=settings(), file="kept.csv"))
    assert wiring is None
    assert not explain(gathered.observed, waves={}).by_words


def test_what_a_file_does_not_say_is_listed() -> None:
    kept = text().replace("1,low,0,60.0,00010100", "1,low,0,,00010100").replace(",00011011", ",")
    gathered, _ = gather_records(read_gains(kept, settings=settings(), file="kept.csv"))
    assert gathered.unread == ((Setting(1, 0, 0), "no gain in its line"),)
    assert gathered.unheard == ((Setting(1, 0, 1), "no word in its line"),)


def test_more_latches_than_a_bus_has_lines_leave_the_bus_out() -> None:
    lines = "".join(f"{channel},0,0,5,1010\n" for channel in range(1, 9))
    gathered, wiring = gather_records(read_gains(HEAD + lines, settings=settings(channels=8), file="x"))
    assert wiring is None
    assert len(gathered.observed) == 8


def test_a_rule_is_held_against_words_that_no_bus_of_the_file_carries() -> None:
    """Eight channels with a latch each: number and single bits of each word stand for it."""
    one = text().splitlines()
    every = [f"{channel}{line[1:]}" for channel in range(1, 9) for line in one[2:]]
    known = settings(channels=8)
    gathered, wiring = gather_records(read_gains("\n".join([*one[:2], *every]), settings=known, file="kept.csv"))
    assert wiring is None
    found = explain(gathered.observed, waves={})
    rule = find_rule(found, draft_of(found, known, wiring, date=DATE, owner="x"))
    assert (rule.right, rule.seen) == (192, 192)
    assert rule.firmware["table"] == {name: [20 + 7 * fine for fine in range(12)] for name in ("low", "high")}


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("", "got 0 lines; allowed is a head"),
        ("channel,coarse,fine\n1,0,0\n", "line 1: no column gain; .* add it"),
        ("channel,coarse,fine,gain,colour\n1,0,0,1,x\n", "line 1, column 5: got 'colour'"),
        ("channel,coarse,fine,gain,gain\n1,0,0,1,x\n", "line 1, column 5: got 'gain'"),
        (HEAD + "1,0,0,5,01\n1,0,1\n", "line 3, column 3: got 3 cells; allowed are 5 .* cut off"),
        (HEAD + "1,0,0,five,01\n", r"line 2, column 4 \(gain\): got 'five'; allowed is a number above 0"),
        (HEAD + "1,0,0,inf,01\n", "got 'inf'"),
        (HEAD + "1,0,0,-3,01\n", "got '-3'"),
        (HEAD + "1,0,0,5,0A\n", r"column 5 \(word\): got '0A'; allowed is 0 and 1"),
        (HEAD + "2,0,0,5,01\n", r"column 1 \(channel\): got '2'; allowed is 1, or a place from 1 to 1"),
        (HEAD + "1,middle,0,5,01\n", r"column 2 \(coarse\): got 'middle'; allowed is low, high, or a place"),
        (HEAD + "1,0,12,5,01\n", r"column 3 \(fine\): got '12'"),
        (HEAD + "1,0,0,5,01\n1,low,0,5,01\n", "line 3, .*each setting once"),
        (HEAD + "1,0,0,5," + "1" * (csv.field_size_limit() + 1) + "\n", "line 2: field larger"),
    ],
)
def test_a_line_that_cannot_be_read_is_named_with_what_to_do(content: str, says: str) -> None:
    with pytest.raises(UsageError, match=rf"^kept\.csv: .*{says}"):
        read_gains(content, settings=settings(), file="kept.csv")


@pytest.mark.parametrize(("stem", "says"), [("one", "allowed is CHANNEL-COARSE-FINE"), ("1-2-0", "1-0-0 to 1-1-11")])
def test_a_capture_of_no_setting_is_named(stem: str, says: str) -> None:
    with pytest.raises(UsageError, match=says):
        setting_of_stem(stem, settings=settings(), file="x.csv")


def test_words_come_out_of_captures_by_setting() -> None:
    truth = Truth(24)
    known = settings_of(truth)
    places = [Setting(1 + c, k, f) for c in range(truth.channels) for k in range(len(truth.combos)) for f in range(9)]
    captures = captures_of(random_bench(truth), [Move(setting=place, rank=None) for place in places])
    by_setting = {place: one.capture for place, one in zip(places, captures, strict=True)}
    heard = hear(tuple(labelled(by_setting)), minimum_pulse_ns=30.0, channels=truth.channels)
    lines = "".join(f"{p.channel},{p.coarse},{p.fine},{7.5 + k}\n" for k, p in enumerate(places))
    recorded = read_gains(HEAD.replace(",word", "") + lines + "1,0,9,5\n", settings=known, file="x")
    gathered = gather_captures(recorded, by_setting, heard)
    assert gathered.unheard == ((Setting(1, 0, 9), "no capture of it"),)
    first = gathered.observed[0]
    assert [word.bits for word in first.words] == [truth.word_bits]


def test_captures_that_say_nothing_stop_with_a_way_on() -> None:
    truth = Truth(24)
    bench = random_bench(truth)
    bench.adapter.sent = lambda bits, latch: None
    captures = captures_of(bench, [Move(setting=Setting(1, 0, fine), rank=None) for fine in range(3)])
    by_setting = {Setting(1, 0, fine): one.capture for fine, one in enumerate(captures)}
    heard = hear(tuple(labelled(by_setting)), minimum_pulse_ns=30.0, channels=truth.channels)
    with pytest.raises(LearnError, match=r"do not tell the lines apart.*leave --captures out"):
        gather_captures((), by_setting, heard)
