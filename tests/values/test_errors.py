import pickle

import pytest

from harness import errors
from harness.errors import BenchError, ConfigError, ExitCode, GainladderError, Problem


def every(kind: type[GainladderError]) -> list[type[GainladderError]]:
    return [kind, *(child for sub in kind.__subclasses__() for child in every(sub))]


def test_the_tree_at_the_top_of_the_module_names_every_class() -> None:
    drawn = errors.__doc__ or ""
    for kind in every(GainladderError):
        if kind.__module__ == "harness.errors":
            assert kind.__name__ in drawn


@pytest.mark.parametrize("kind", [k for k in every(BenchError) if k.__module__ == "harness.errors"])
def test_bench_errors_name_their_place_and_survive_pickling(kind: type[BenchError]) -> None:
    extra: dict[str, object] = {}
    if kind is errors.StationFault:
        extra = {"fault": "source-load-mis-set", "also": ("terminator-wrong",)}
    if kind is errors.RefusedUnsafe:
        extra = {"asked_vpk": 40.0, "limit_vpk": 30.0}
    if kind is errors.InstrumentReported:
        extra = {"codes": (-113,)}
    error = kind("it broke", instrument="source", address="TCPIP::x", command="VOLT 1", **extra)  # type: ignore[arg-type]
    assert str(error) == "source at TCPIP::x: it broke (during 'VOLT 1')"
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is kind
    assert str(again) == str(error)
    assert again.__dict__ == error.__dict__


def test_a_config_error_lists_every_problem_and_survives_pickling() -> None:
    problems = tuple(Problem(file="a.toml", key=f"k[{i}]", got="x", allowed="y") for i in range(2))
    error = ConfigError(problems)
    assert str(error).splitlines() == [f"a.toml: k[{i}]: got x; allowed: y" for i in range(2)]
    assert pickle.loads(pickle.dumps(error)).problems == problems


def test_exit_codes_are_the_contract() -> None:
    assert {code.name: int(code) for code in ExitCode} == {
        "PASS": 0, "FAIL": 1, "USAGE": 2, "INVALID": 3, "LOCKED": 4, "INCONCLUSIVE": 5, "INTERNAL": 6,
        "INTERRUPTED": 130,
    }  # fmt: skip
