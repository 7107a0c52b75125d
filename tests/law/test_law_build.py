"""Every problem of a device file's content, by key path, all at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from harness.config import DeviceFile, validate
from harness.errors import ConfigError
from harness.law.firmware import Request, nearest_code

Data = dict[str, Any]


def second_code(data: Data) -> None:
    data["stage"].append({"name": "trim", "kind": "linear-code", "control": "trim", "bits": 4, "gain_per_code": 0.1})


def shared_code(data: Data) -> None:
    data["stage"].append({"name": "again", "kind": "linear-code", "control": "code", "bits": 7, "gain_per_code": 0.1})


def put(*path: str | int, value: Any) -> Callable[[Data], None]:
    def change(data: Data) -> None:
        place: Any = data
        for part in path[:-1]:
            place = place[part]
        place[path[-1]] = value

    return change


def drop(*path: str | int) -> Callable[[Data], None]:
    def change(data: Data) -> None:
        place: Any = data
        for part in path[:-1]:
            place = place[part]
        del place[path[-1]]

    return change


CASES: dict[str, tuple[Callable[[Data], None], str, str, str]] = {
    # change, key path, part of got, part of allowed
    "kind unknown": (
        put("stage", 2, "kind", value="liner-code"), "stage[2].kind", "'liner-code'",
        "one of arithmetic, converter-gain, linear-code, linear-in-db, loading, mdac-attenuator",
    ),
    "parameter unknown": (
        put("stage", 2, "gain", value=1.0), "stage[2].gain", "an unknown key",
        "one of bits, carry_percent, control, gain_per_code, lowest_code, weight_percent",
    ),
    "parameter missing": (drop("stage", 2, "gain_per_code"), "stage[2].gain_per_code", "nothing", "required"),
    "parameter out of range": (put("stage", 3, "load_ohm", value=0.0), "stage[3].load_ohm", "0.0", "greater than 0"),
    "ratio of a position": (
        put("stage", 0, "ratios", "1:10", value=-0.1), "stage[0].ratios.1:10", "-0.1", "greater than 0",
    ),
    "relays of other positions": (
        drop("stage", 0, "relays", "1:1"), "stage[0].relays", "1:10, 1:100",
        "exactly the positions of ratios: 1:1, 1:10, 1:100",
    ),
    "lowest code above the highest": (
        put("stage", 2, "lowest_code", value=256), "stage[2].lowest_code", "256", "1 to 255, for bits = 8",
    ),
    "too many bits": (put("stage", 2, "bits", value=25), "stage[2].bits", "25", "1 to 24"),
    "no bits": (put("stage", 2, "bits", value=0), "stage[2].bits", "0", "greater than or equal to 1"),
    "no positions": (put("stage", 0, "ratios", value={}), "stage[0].ratios", "no position", "a gain for each position"),
    "two stages of one name": (
        put("stage", 1, "name", value="input attenuator"), "stage[1].name", "'input attenuator' again",
        "each name once",
    ),
    "two ranges of one name": (put("coarse", 4, "name", value="2V"), "coarse[4].name", "'2V' again", "each name once"),
    "ranges out of order": (
        put("coarse", 4, "full_scale_vpp", value=2.0), "coarse[4].full_scale_vpp", "2",
        "less than 2: ranges stand least",
    ),
    "fine positions out of order": (
        put("fine", "last_percent", value=140.0), "fine.last_percent", "140", "less than first_percent = 100",
    ),
    "shared control, other values": (shared_code, "stage[4]", "values 1 to 127", "values 1 to 255, as the stage"),
    "range names an unknown control": (
        put("coarse", 1, "controls", "atenuator", value="1:1"), "coarse[1].controls.atenuator",
        "a control that no stage names", "one of attenuator, pregain, code",
    ),
    "range names an unknown position": (
        put("coarse", 1, "controls", "attenuator", value="1:5"), "coarse[1].controls.attenuator", "'1:5'",
        "'1:1', '1:10', '1:100'",
    ),
    "range fixes the code": (
        put("coarse", 1, "controls", "code", value=7), "coarse[1].controls.code", "7", "firmware.code says",
    ),
    "range leaves a control open": (
        drop("coarse", 1, "controls", "attenuator"), "coarse[1].controls", "no attenuator, which a stage needs",
        "attenuator = one of '1:1', '1:10', '1:100', or firmware.prefer.attenuator",
    ),
    "a second code that nothing sets": (second_code, "coarse[0].controls", "no trim", "trim = one of 1 to 15"),
    "rule unknown": (put("firmware", "rule", value="best"), "firmware.rule", "'best'", "one of nearest-code"),
    "code is no code": (
        put("firmware", "code", value="pregain"), "firmware.code", "'pregain', not the code of exactly one stage",
        "one of code",
    ),
    "code unknown": (put("firmware", "code", value="cod"), "firmware.code", "'cod'", "one of code"),
    "preferred control unknown": (
        put("firmware", "prefer", value={"pregain": 0, "boost": 1}), "firmware.prefer.boost", "no two-valued control",
        "one of pregain",
    ),
    "preferred control has three values": (
        put("firmware", "prefer", value={"pregain": 0, "attenuator": 1}), "firmware.prefer.attenuator",
        "no two-valued control", "one of pregain",
    ),
    "preferred value is not legal": (
        put("firmware", "prefer", "pregain", value=2), "firmware.prefer.pregain", "2", "0, 1",
    ),
    "the code is preferred": (
        put("firmware", "prefer", "code", value=2), "firmware.prefer.code", "2", "no such key: firmware.code chooses",
    ),
    "field unknown": (
        put("bus", "layout", 0, "control", value="pregian"), "bus.layout[0].control", "'pregian', no number",
        "one of pregain, code",
    ),
    "field of names": (
        put("bus", "layout", 0, "control", value="attenuator"), "bus.layout[0].control", "'attenuator', no number",
        "one of pregain, code",
    ),
    "field twice": (
        put("bus", "layout", 1, "control", value="pregain"), "bus.layout[1].control", "'pregain' again",
        "each control once",
    ),
    "code not in the word": (
        put("bus", "layout", 1, "control", value="pregain"), "bus.layout", "pregain, pregain", "a field for 'code'",
    ),
    "a range that no code reaches": (
        put("coarse", 0, "full_scale_vpp", value=5000.0), "coarse[0].full_scale_vpp",
        "5000: range 20V at 100 % wants 0.8192 codes/V",
        "5.01961 to 1280 codes/V with attenuator = 1:100, pregain = 0; or 20.0784 to 5120 codes/V",
    ),
    "fields that overlap": (
        put("bus", "layout", 1, "at", value=0), "bus.layout[1].at", "bits 0 to 7, where another field lies already",
        "1 or more: fields must not overlap",
    ),
    "bits without a field": (
        put("bus", "layout", 1, "at", value=3), "bus.layout[1].at", "bits 1 to 2 without a field",
        "1, or a field with fill = 0",
    ),
    "relay that no stage has": (
        put("bus", "layout", 0, value={"relay": "K9"}), "bus.layout[0].relay", "'K9', a relay that no stage has",
        "one of K1, K2",
    ),
    "relay twice": (
        lambda data: data["bus"].update(
            layout=[{"relay": "K1"}, {"relay": "K1"}, {"control": "code", "bits": 7}]
        ),
        "bus.layout[1].relay", "'K1' again", "each relay once",
    ),
    "a missing stage": (
        put("stage", 2, "after", value="pregain"), "stage[2].after", "'pregain', a missing stage",
        "input, or the name of a stage: input attenuator, pre-gain",
    ),
    "a circle": (
        put("stage", 1, "after", value="output loading"), "stage[1].after",
        "a circle: 'pre-gain', 'variable gain', 'output loading'", "a row that begins at the input",
    ),
    "two stages behind one": (
        put("stage", 3, "after", value="pre-gain"), "stage[3].after", "a second stage behind 'pre-gain'",
        "one stage behind each; 'variable gain' is there already",
    ),
    "two stages behind the input": (
        put("stage", 2, "after", value="input"), "stage[2].after", "a second stage behind the input", "stand first",
    ),
    "analog gain behind arithmetic": (
        lambda data: data["stage"].insert(
            0, {"name": "zoom", "kind": "arithmetic", "control": "zoom", "ratios": {"off": 1.0}}
        ),
        "stage[1]", "'input attenuator' behind them", "in front of every stage of arithmetic gain",
    ),
    "tolerance of no parameter": (
        put("stage", 1, "tolerance", value={"ration": 1.0}), "stage[1].tolerance.ration", "no parameter of the stage",
        "one of ratio, setting, setting_db",
    ),
    "tolerance of no parameter, of a code": (
        put("stage", 2, "tolerance", value={"gain": 1.0}), "stage[2].tolerance.gain", "no parameter of the stage",
        "bit_7, inl_lsb, setting, setting_db, bits",
    ),
    "a tolerance that makes gain negative": (
        put("stage", 1, "tolerance", value={"ratio": 100.0}), "stage[1].tolerance.ratio", "100",
        "less than 100: the gain must stay positive",
    ),
    "a tolerance of a stage that makes gain negative": (
        put("stage", 1, "tolerance_percent", value=120.0), "stage[1].tolerance_percent", "120", "less than 100",
    ),
    "code steps that make gain negative": (
        put("stage", 2, "tolerance", value={"inl_lsb": 1.0}), "stage[2].tolerance.inl_lsb", "1",
        "less than the lowest code, 1: the gain must stay positive",
    ),
    "a tolerance of arithmetic": (
        lambda data: data["stage"].append(
            {"name": "zoom", "kind": "arithmetic", "control": "attenuator", "tolerance_percent": 1.0,
             "ratios": {"1:1": 1.0, "1:10": 1.0, "1:100": 1.0}}
        ),
        "stage[4].tolerance", "a tolerance", "none: arithmetic is exact",
    ),
    "a table without its rule": (
        put("firmware", "table", value=[1, 2]), "firmware.table", "a table", "no table for rule = 'nearest-code'",
    ),
    "codes that are not legal": (
        put("firmware", "codes", value=[0, 255]), "firmware.codes[0]", "0", "1 to 255",
    ),
    "a table rule without a table": (
        put("firmware", "rule", value="table"), "firmware.table", "nothing", "the code of each of the 21 fine",
    ),
    "a range too sensitive for any code": (
        put("coarse", 10, "arithmetic_ratio", value=0.5), "coarse[10].full_scale_vpp",
        "0.01: range 10mV at 100 % wants 819200 codes/V", "2007.84 to 512000 codes/V with attenuator = 1:1",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_problem(case: str, hr4: Data, problems_of) -> None:
    change, key, got, allowed = CASES[case]
    change(hr4)
    problem = problems_of(hr4)[key]
    assert problem.file == "device.toml"
    assert got in problem.got
    assert allowed in problem.allowed


def test_a_field_of_another_width(hr4: Data, problems_of) -> None:
    hr4["bus"]["layout"][1]["bits"] = 7
    for member in hr4["bus"]["on_bus"][:4]:
        member["bits"] = 8
    problem = problems_of(hr4)["bus.layout[1].bits"]
    assert (problem.got, problem.allowed) == ("7", "8, as its stage says")


def test_all_problems_at_once(hr4: Data, problems_of) -> None:
    for change in (
        put("stage", 3, "load_ohm", value=0.0),
        put("coarse", 1, "controls", "attenuator", value="1:5"),
        put("firmware", "rule", value="best"),
        put("fine", "last_percent", value=140.0),
    ):
        change(hr4)
    assert set(problems_of(hr4)) == {
        "stage[3].load_ohm", "coarse[1].controls.attenuator", "firmware.rule", "fine.last_percent",
    }  # fmt: skip


def test_a_bad_stage_does_not_make_its_controls_unknown(hr4: Data, problems_of) -> None:
    hr4["stage"][2]["gain_per_code"] = -1.0
    assert set(problems_of(hr4)) == {"stage[2].gain_per_code"}


def test_a_wrong_code_is_one_problem_and_not_one_in_each_range(hr4: Data, problems_of) -> None:
    hr4["firmware"]["code"] = "cod"
    assert set(problems_of(hr4)) == {"firmware.code"}


def test_each_unreachable_range_is_named(hr4: Data, problems_of) -> None:
    hr4["stage"][2]["lowest_code"] = 100
    found = problems_of(hr4)
    assert set(found) == {f"coarse[{index}].full_scale_vpp" for index in range(9)}  # 20 mV has codes 102 to 255
    assert "(code 100 to 255)" in found["coarse[0].full_scale_vpp"].allowed


def test_the_message_names_file_key_got_and_allowed(hr4: Data, make_law) -> None:
    hr4["firmware"]["rule"] = "best"
    with pytest.raises(ConfigError) as caught:
        make_law(hr4)
    rules = "nearest-code, floor, table, mixed"
    assert str(caught.value) == f"device.toml: firmware.rule: got 'best'; allowed: one of {rules}"


def test_a_range_may_fix_what_the_firmware_would_choose(hr4: Data, make_law) -> None:
    hr4["coarse"][1]["controls"]["pregain"] = 1
    states = {p.state.control("pregain") for p in make_law(hr4).predictions([1]) if p.setting.coarse == 1}
    assert states == {1}


def test_the_preferred_value_is_taken_where_its_code_is_legal(hr4: Data, make_law) -> None:
    hr4["firmware"]["prefer"] = {"pregain": 1}
    law = make_law(hr4)
    first = law.predict(law.settings()[0])
    assert (first.state.control("pregain"), first.state.control("code")) == (1, 10)  # 40.8 / 4 = 10.2


@pytest.mark.parametrize("full_scale_vpp", [1e-305, 1e305])
def test_absurd_numbers_are_out_of_reach_and_no_crash(hr4: Data, problems_of, full_scale_vpp: float) -> None:
    hr4["coarse"] = [{"name": "odd", "full_scale_vpp": full_scale_vpp, "controls": {"attenuator": "1:1"}}]
    del hr4["quiet_noise"]
    assert set(problems_of(hr4)) == {"coarse[0].full_scale_vpp"}


def test_a_path_whose_product_vanishes_reaches_nothing(hr4: Data, problems_of) -> None:
    hr4["stage"][0]["ratios"] = dict.fromkeys(("1:1", "1:10", "1:100"), 1e-300)
    hr4["converter"]["codes_per_v"] = 1e-300
    assert len(problems_of(hr4)) == 11


def test_the_rule_without_a_code_stage_reaches_nothing(hr4: Data, make_law) -> None:
    path = make_law(hr4).path
    request = Request(path=path, code="pregain", codes=(), candidates=({},), wanted_codes_per_v=(1.0, 2.0))
    assert nearest_code(request) == (None, None)


def test_a_code_0_that_a_range_fixes_in_a_feedback_converter(hr4: Data, problems_of) -> None:
    hr4["stage"].insert(
        2, {"name": "amplifier", "kind": "mdac-feedback", "control": "divide", "bits": 8, "feedback_ratio": 1.0}
    )
    for coarse in hr4["coarse"]:
        coarse["controls"]["divide"] = 255
    hr4["coarse"][2]["controls"]["divide"] = 0
    problem = problems_of(hr4)["coarse[2].controls.divide"]
    assert (problem.got, problem.allowed) == ("0", "1 to 255")


def test_a_lowest_code_0_of_a_feedback_converter(hr4: Data, problems_of) -> None:
    hr4["stage"][2] = {"name": "amplifier", "kind": "mdac-feedback", "control": "code", "bits": 8, "lowest_code": 0}
    problem = problems_of(hr4)["stage[2].lowest_code"]
    assert problem.got == "0 (int)"
    assert problem.allowed == "greater than or equal to 1"


def test_a_negative_tolerance_is_refused_with_its_key(hr4: Data) -> None:
    hr4["stage"][1]["tolerance"] = {"ratio": -1.0}
    with pytest.raises(ConfigError) as caught:
        validate(DeviceFile, hr4, file="device.toml")
    assert str(caught.value) == (
        "device.toml: stage[1].tolerance.ratio: got -1.0 (float); allowed: greater than or equal to 0"
    )


def test_half_a_correction_is_refused(hr4: Data) -> None:
    hr4["stage"][1]["corrections"] = {"source_ohm": 50.0}
    with pytest.raises(ConfigError, match=r"stage\[1\].corrections: .*source_ohm and load_ohm, or neither"):
        validate(DeviceFile, hr4, file="device.toml")


@pytest.mark.parametrize(
    ("field", "words"),
    [
        ({"control": "pregain", "relay": "K1"}, "exactly one of control, relay, fill"),
        ({"bits": 2}, "exactly one of control, relay, fill"),
        ({"relay": "K1", "bits": 2}, "bits = 1 for a relay"),
        ({"fill": 4, "bits": 2}, "fill up to 3 in 2 bits"),
    ],
)
def test_a_field_means_one_thing(hr4: Data, field: Data, words: str) -> None:
    hr4["bus"]["layout"][0] = field
    with pytest.raises(ConfigError, match=words):
        validate(DeviceFile, hr4, file="device.toml")


@pytest.mark.parametrize(
    ("table", "key", "got", "allowed"),
    [
        ([5, 6], "firmware.table", "2 codes", "21, one for each fine position"),
        ([0] * 21, "firmware.table[3]", "0", "1 to 255"),
        ({"20V": [9] * 21}, "firmware.table", "no 10mV", "the codes of every range: 20V, 10V"),
        ({"3V": [9] * 21}, "firmware.table.3V", "a range that does not exist", "one of 20V, 10V"),
    ],
)
def test_a_table_that_does_not_fit(hr4: Data, problems_of, table: Any, key: str, got: str, allowed: str) -> None:
    hr4["firmware"].update(rule="table", table=table)
    problem = problems_of(hr4)[key]
    assert problem.got == got
    assert problem.allowed.startswith(allowed)


def test_a_table_for_a_control_that_no_stage_names(hr4: Data, problems_of) -> None:
    hr4["firmware"].update(rule="table", table=[9] * 21, code="cod")
    assert problems_of(hr4)["firmware.code"].got == "'cod', a control that no stage names"


def test_a_channel_with_the_code_in_two_words(hr4: Data, problems_of) -> None:
    hr4["bus"]["on_bus"].append({"latch": "latch-1", "bits": 9, "channel": 2})
    problem = problems_of(hr4)["bus.on_bus"]
    assert problem.got == "'pregain' in two words of channel 2"
    assert problem.allowed == "each control once in a channel"


def test_a_channel_whose_words_lack_the_code(hr4: Data, problems_of) -> None:
    hr4["bus"]["on_bus"][1]["layout"] = [{"control": "pregain"}, {"fill": 0, "bits": 8}]
    problem = problems_of(hr4)["bus.on_bus"]
    assert (problem.got, problem.allowed) == ("pregain", "a field for 'code', which firmware.code names")


def test_fine_positions_in_db_out_of_order(hr4: Data, problems_of) -> None:
    hr4["fine"] = {"first_db": 8.0, "last_db": 0.0, "count": 21}
    problem = problems_of(hr4)["fine.last_db"]
    assert problem.allowed == "more than first_db = 8: fine positions stand least gain first"


def test_stages_may_stand_anywhere_when_they_say_what_is_in_front(hr4: Data, make_law) -> None:
    law = make_law(hr4)
    shuffled = {**hr4, "stage": [dict(hr4["stage"][index]) for index in (3, 1, 0, 2)]}
    for stage, after in zip(shuffled["stage"], ("variable gain", "input attenuator", "input", "pre-gain"), strict=True):
        stage["after"] = after
    again = make_law(shuffled)
    assert [stage.name for stage in again.path.stages] == [stage["name"] for stage in hr4["stage"]]
    assert again.predictions() == law.predictions()


@pytest.mark.parametrize(
    "fine",
    [
        {"first_percent": 100.0, "last_percent": 40.0, "first_db": 0.0, "last_db": 8.0, "count": 5},
        {"first_percent": 100.0, "last_db": 8.0, "count": 5},
        {"first_db": 0.0, "count": 5},
        {"count": 5},
    ],
)
def test_fine_positions_have_one_unit(hr4: Data, fine: Data) -> None:
    hr4["fine"] = fine
    with pytest.raises(ConfigError, match="first_percent and last_percent, or first_db and last_db"):
        validate(DeviceFile, hr4, file="device.toml")
