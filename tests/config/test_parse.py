from pathlib import Path

import pytest

from harness.config import (
    BenchFile,
    DeviceFile,
    InstrumentFile,
    JobFile,
    LadderFile,
    LimitsFile,
    LineFile,
    PeopleFile,
    SettingsFile,
    parse,
)
from harness.config.parse import key_path, sha256_of
from harness.errors import ConfigError

CONFIGS = Path(__file__).parents[2] / "configs"
KINDS = {
    "devices": DeviceFile, "benches": BenchFile, "instruments": InstrumentFile, "limits": LimitsFile, "jobs": JobFile,
    "ladders": LadderFile, "lines": LineFile, "people": PeopleFile, "settings": SettingsFile,
}  # fmt: skip
SHIPPED = [(KINDS[path.parent.name], path) for path in sorted(CONFIGS.glob("*/*.toml"))]


@pytest.mark.parametrize(("kind", "path"), SHIPPED, ids=[path.stem for _, path in SHIPPED])
def test_every_shipped_file_is_read(kind: type, path: Path) -> None:
    content = parse(kind, path.read_text(), file=path.name)
    assert content.version == content.change[-1].version

HR4, SG1 = "skerry-hr-4", "machair-sg-1"
WHOLE = "(whole file)"
RANGES = "[ranges]\nmin_vpk = 1.0\nmax_vpk = 2.0\nmin_hz = 1.0\nmax_hz = 2.0\n"


def problems(kind: type, text: str) -> dict[str, tuple[str, str]]:
    with pytest.raises(ConfigError) as caught:
        parse(kind, text, file="x.toml")
    assert all(p.file == "x.toml" for p in caught.value.problems)
    return {p.key: (p.got, p.allowed) for p in caught.value.problems}


def demo(folder: str, name: str = "skerry-hr-4") -> str:
    return (CONFIGS / folder / f"{name}.toml").read_text()


def test_all_problems_of_a_file_come_at_once() -> None:
    text = demo("devices").replace("full_scale_vpp = 20.0", "full_scale = 20.0")
    text = text.replace("channels = 4", 'channels = "x"')
    found = problems(DeviceFile, text)
    assert found["channels"] == ("'x' (str)", "integer, unable to parse string as an integer")
    assert found["coarse[0].full_scale_vpp"] == ("nothing", "this key is required")
    assert found["coarse[0].full_scale"] == (
        "an unknown key", "one of arithmetic_ratio, controls, full_scale_vpp, name, value",
    )  # fmt: skip


def test_text_that_is_not_toml_names_the_line() -> None:
    assert "at line 2" in problems(JobFile, "kind = 1\nname = = 2\n")["(text)"][0]


@pytest.mark.parametrize(
    ("kind", "folder", "name", "old", "new", "key", "allowed"),
    [
        (DeviceFile, "devices", HR4, "high_code = 2047", "high_code = 2048", "converter", "2**bits - 1 = 4095"),
        (DeviceFile, "devices", HR4, "impedance_ohm = 1.0e6\ncoup", "impedance_ohm = 50.0\ncoup", "input", "50"),
        (DeviceFile, "devices", HR4, 'clock = "clock"', 'clock = "tick"', "bus", "missing: tick"),
        (DeviceFile, "devices", HR4, "bits = 9, channel = 2", "bits = 8, channel = 2", "bus", "latch-2"),
        (DeviceFile, "devices", HR4, "channel = 2 }", "channel = 3 }", "(whole file)", "for each channel 1 to 4"),
        (DeviceFile, "devices", HR4, "fine = 20\nnoise", "fine = 21\nnoise", "(whole file)", "quiet_noise"),
        (InstrumentFile, "instruments", SG1, "output_on =", "switch_on =", "(whole file)", "not switch_on"),
        (InstrumentFile, "instruments", SG1, 'output_on = "OUTP ON"', "", "(whole file)", "also output_on"),
        (InstrumentFile, "instruments", "strath-ba-1", "[commands]", RANGES + "[commands]", WHOLE, "for a source"),
        (BenchFile, "benches", "lan-and-serial", 'serial = "SK000456"', "", "(whole file)", "names every instrument"),
        (InstrumentFile, "instruments", HR4, "\ntogether = true", "", WHOLE, "only with together = true"),
        (InstrumentFile, "instruments", "cairn-am-2", "\nrole =", "\ngrouped = true\nrole =", WHOLE,
         "grouped for an adapter, for others only with together = true"),
        (
            BenchFile, "benches", "lan-and-serial", "percent = 1.0 }", "percent = 1.0, factor = 2 }",
            "uncertainty.source.reading", 'factor with distribution = "normal" only, not with "rectangular"',
        ),
        (
            BenchFile, "benches", "lan-and-serial", "[0.005, 0.05,", "[0.05, 0.05,",
            "uncertainty.source", "range_ends_vpk that rise",
        ),
        (
            BenchFile, "benches", "simulated", "range_ends_vpk = [0.005, 0.05, 0.5, 5.0]", "",
            "uncertainty.source", "range_ends_vpk with range",
        ),
        (
            BenchFile, "benches", "simulated-corrie-ur-2", "[uncertainty.pad]\ndb = 0.026\nfactor = 2.6", "",
            WHOLE, "[uncertainty.pad] where wiring.pad_db is above 0",
        ),
        (LimitsFile, "limits", "skerry-hr-4", "low = -2.0", "low = 1.9", "limit[0]", "two guard bands"),
        (JobFile, "jobs", "ci", "fill_low = 0.5", "fill_low = 0.8", "ladder", "fill_low < fill_target < fill_high"),
        (JobFile, "jobs", "ci", '["up", "down"]', '["up", "up"]', "ladder", "each direction once"),
        (JobFile, "jobs", "end-of-test", '"G1", "G2"', '"G1", "G1"', "production.golden_units", "each serial"),
    ],
)  # fmt: skip
def test_what_does_not_fit_together_is_said(
    kind: type, folder: str, name: str, old: str, new: str, key: str, allowed: str
) -> None:
    text = demo(folder, name)
    assert old in text
    found = problems(kind, text.replace(old, new, 1))
    assert allowed in found[key][1]


def test_key_paths_read_as_people_write_them() -> None:
    assert key_path(("coarse", 3, "full_scale_vpp")) == "coarse[3].full_scale_vpp"
    assert key_path(()) == "(whole file)"


def test_the_hash_is_that_of_the_text() -> None:
    # FIPS 180-4 example "abc"
    assert sha256_of("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_fine_positions_and_frequency() -> None:
    device = parse(DeviceFile, demo("devices"), file="x")
    percents = device.fine.percents()
    assert (percents[0], percents[1], percents[-1], len(percents)) == (100.0, 97.0, 40.0, 21)
    assert device.acquisition.frequency_hz == 2125.0
    assert device.quiet_noise is not None
    assert device.quiet_noise.place(device) == (9, 20)
