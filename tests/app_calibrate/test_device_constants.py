"""Constants in the simulated device, in the driver and in the instrument file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from harness.app.bench_open import open_bench
from harness.app.setup import read_setup
from harness.config import InstrumentFile, parse
from harness.drivers import DeviceDriver, HeldConstant
from harness.drivers.constant import read_constant
from harness.drivers.profile import Commands
from harness.errors import BadReply, BenchError, ConfigError, InstrumentReported, ReadBackDiffers
from harness.simulated import JumpClock, build_world

PROFILE = Path(__file__).parents[2] / "configs" / "instruments" / "skerry-hr-4.toml"


class Rig:
    """A driver over a link in memory that may be told other answers."""

    def __init__(self, job: Path) -> None:
        self.setup = read_setup(str(job))
        self.clock = JumpClock()
        self.world = build_world(self.setup.bench.file, seed=1, faults=(), clock=self.clock, file="bench")
        self.link = self.world.link("device")
        slot = self.setup.bench.file.device
        profile = self.setup.bench.profiles["device"]
        self.driver = DeviceDriver(self.link, profile, slot, self.setup.device, self.clock)

    def ask(self, message: str) -> str:
        self.link.write(message.encode() + b"\n")
        return self.link.read_line().decode()

    def tell(self, message: str) -> str:
        """The first entry of the error queue afterwards."""
        self.link.write(message.encode() + b"\n")
        return self.ask("SYST:ERR?")


@pytest.fixture
def rig(job: Path) -> Rig:
    return Rig(job)


def test_the_simulated_device_keeps_constants_by_channel_and_range(rig: Rig) -> None:
    assert rig.ask("CALibration1:RANGe:GAIN? 20;OFFSet? 20") == "1;0"
    assert rig.tell("CAL2:RANG:GAIN 50 mV,1.02;OFFS 0.05,-3.5").startswith("0,")
    assert rig.ask("CAL2:RANG:GAIN? 0.05;OFFS? 50mV") == "1.02;-3.5"
    assert rig.ask("CAL1:RANG:GAIN? 0.05") == "1"
    assert rig.tell("*RST").startswith("0,")
    assert rig.ask("CAL2:RANG:GAIN? 0.05") == "1.02"


@pytest.mark.parametrize(
    ("message", "code"),
    [
        ("CAL1:RANG:GAIN 20", -109),
        ("CAL1:RANG:GAIN 20,1,1", -108),
        ("CAL1:RANG:GAIN 20,3", -222),
        ("CAL1:RANG:GAIN 3,1", -222),
        ("CAL1:RANG:GAIN 200,1", -222),
        ("CAL9:RANG:GAIN 20,1", -114),
        ("CAL1:RANG:OFFS 20,4E4", -222),
        ("CAL1:RANG:GAIN 20,abc", -141),
    ],
)
def test_the_simulated_device_refuses(rig: Rig, message: str, code: int) -> None:
    assert rig.tell(message).startswith(f"{code},")
    assert rig.ask("CAL1:RANG:GAIN? 20;OFFS? 20") == "1;0"


def test_the_displayed_scale_holds_the_constant_and_the_codes_do_not(rig: Rig) -> None:
    rig.tell("INP1:RANG 5;FINE 100;:ACQ:CHAN 1;:INIT")
    nominal = float(rig.ask("FETC:SCAL?"))
    rig.tell("CAL1:RANG:GAIN 5,1.25")
    assert float(rig.ask("FETC:SCAL?")) == nominal  # of the record that was taken
    rig.tell("INIT")
    assert float(rig.ask("FETC:SCAL?")) == pytest.approx(nominal / 1.25)
    rig.tell("INP1:RANG 2;:INIT")
    assert float(rig.ask("FETC:SCAL?")) == pytest.approx(nominal * 0.4, rel=0.02)


def test_a_device_that_keeps_none_does_not_know_the_command() -> None:
    setup = read_setup("configs/jobs/corrie-ur-2.toml")
    with open_bench(setup.bench, setup.device, transport="in-process", seed=1, faults=()) as opened:
        device = opened.bench.device
        assert isinstance(device, DeviceDriver)
        assert not device.holds_constants
        with pytest.raises(BenchError, match="holds no constants as far as its profile says; it lacks constant and"):
            device.read_constant(1, 0)
        with pytest.raises(BenchError, match="holds no constants"):
            device.write_constant(1, 0, gain_ratio=1.0, offset_code=0.0)


def test_the_driver_writes_and_reads_back(rig: Rig) -> None:
    assert rig.driver.read_constant(3, 9) == HeldConstant(gain_ratio=1.0, offset_code=0.0)
    held = rig.driver.write_constant(3, 9, gain_ratio=1.0 / 3.0 + 0.7, offset_code=-0.123456789)
    assert held.gain_ratio == pytest.approx(1.0 / 3.0 + 0.7, rel=1e-9)
    assert held.offset_code == pytest.approx(-0.123456789)
    assert rig.driver.read_constant(3, 9) == held
    assert rig.driver.read_constant(3, 8).gain_ratio == 1.0
    with pytest.raises(BenchError, match="no such coarse: 11; allowed: 0 to 10"):
        rig.driver.read_constant(1, 11)


def test_a_refused_constant_is_reported(rig: Rig) -> None:
    with pytest.raises(InstrumentReported, match="-222"):
        rig.driver.write_constant(1, 0, gain_ratio=5.0, offset_code=0.0)
    assert rig.driver.read_constant(1, 0).gain_ratio == 1.0


def test_another_constant_read_back_is_an_error(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    answers = iter([HeldConstant(gain_ratio=1.0, offset_code=0.0), HeldConstant(gain_ratio=1.1, offset_code=2.0)])
    monkeypatch.setattr(DeviceDriver, "read_constant", lambda *_: next(answers))
    with pytest.raises(ReadBackDiffers, match=r"wrote gain ratio 1\.1 and offset 0, reads back .*gain_ratio=1\.0"):
        rig.driver.write_constant(1, 0, gain_ratio=1.1, offset_code=0.0)
    with pytest.raises(ReadBackDiffers, match=r"offset_code=2\.0"):
        rig.driver.write_constant(1, 0, gain_ratio=1.1, offset_code=0.0)


def test_a_strange_answer_is_an_error(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(DeviceDriver, "_query", lambda *_: "1.0")
    with pytest.raises(BadReply, match=r"got '1\.0'; allowed: finite numbers for gain_ratio, offset_code"):
        rig.driver.read_constant(1, 0)


BOTH = {"channel", "gain_ratio", "offset_code"}


@pytest.mark.parametrize(
    ("reply", "placeholders", "expected"),
    [
        ("1.02;-3", BOTH, HeldConstant(gain_ratio=1.02, offset_code=-3.0)),
        ("+1.02E+00 , 0.5", BOTH, HeldConstant(gain_ratio=1.02, offset_code=0.5)),
        ("1.02", {"gain_ratio"}, HeldConstant(gain_ratio=1.02, offset_code=None)),
        ("1.02;0", {"gain_ratio"}, None),
        ("1.02", BOTH, None),
        ("1.02;x", BOTH, None),
        ("9.91E37;0", BOTH, None),
        ("nan;0", BOTH, None),
        ("", BOTH, None),
    ],
)
def test_answers(reply: str, placeholders: set[str], expected: HeldConstant | None) -> None:
    assert read_constant(reply, placeholders) == expected


def profile(old: str = "", new: str = "") -> InstrumentFile:
    text = PROFILE.read_text()
    assert old in text
    return parse(InstrumentFile, text.replace(old, new, 1), file="profile.toml")


def line(verb: str) -> str:
    return next(text for text in PROFILE.read_text().splitlines() if text.startswith(f"{verb} = "))


def test_both_verbs_or_neither() -> None:
    for verb in ("constant", "constant_query"):
        with pytest.raises(ConfigError, match=rf"in \[commands\] also {verb}$"):
            profile(line(verb))
    text = PROFILE.read_text().replace(line("constant"), "").replace(line("constant_query"), "")
    assert "constant" not in parse(InstrumentFile, text, file="profile.toml").commands


def test_placeholders_of_the_verbs() -> None:
    assert "gain_ratio" in Commands(profile()).placeholders("constant")
    with pytest.raises(ConfigError, match=r"commands\.constant: got no \{gain_ratio\}; allowed: a command that writes"):
        Commands(profile(",{gain_ratio}", ""))
    with pytest.raises(ConfigError, match=r"commands\.constant: got \{percent\} in"):
        Commands(profile(",{gain_ratio}", ",{gain_ratio},{percent}"))


def test_a_gain_constant_alone(rig: Rig) -> None:
    commands: dict[str, Any] = dict(rig.setup.bench.profiles["device"].commands)
    commands["constant"] = "CAL{channel}:RANG:GAIN {full_scale_vpp},{gain_ratio}"
    commands["constant_query"] = "CAL{channel}:RANG:GAIN? {full_scale_vpp}"
    plain = rig.setup.bench.profiles["device"].model_copy(update={"commands": commands})
    driver = DeviceDriver(rig.link, plain, rig.setup.bench.file.device, rig.setup.device, rig.clock)
    held = driver.write_constant(1, 0, gain_ratio=1.01, offset_code=7.0)
    assert held == HeldConstant(gain_ratio=1.01, offset_code=None)
    assert rig.ask("CAL1:RANG:OFFS? 20") == "0"
