"""The stages of `gainladder learn` on a bench: look, listen, scout, measure; what each found is told and kept."""

from __future__ import annotations

import contextlib
import datetime
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from harness.app.bench_open import open_bench
from harness.app.decode_roles import role_rows
from harness.app.files import FileSet
from harness.app.learn_notebook import Answers, Notebook
from harness.app.output import say, write_file
from harness.app.resume import ResumeRequest, resume_run
from harness.app.run import RunRequest, new_header, plan_of, record_run
from harness.app.setup import BenchSetup, Setup, read_setup
from harness.bus import BusDevice, BusWiring, Roles
from harness.config import DeviceFile, SettingsFile, validate
from harness.errors import LearnError, ReadBackDiffers
from harness.learn import captures_of, device_tables, hear, job_text, limits_text, moves, range_scales_vpp
from harness.learn.obedience import fine_obeyed, fine_probe, ranges_obeyed
from harness.learn.provisional import HEADING
from harness.learn.write.toml import whole
from harness.store import Store
from harness.sweep import scout
from harness.values import SPACING_LIMIT, Setting

MOST_SCOUTED_WORDS = 9
USUAL_FILL = 0.5
WEAKER = 0.8
TROUBLE = "trouble"
JOB = "job.toml"
STALLED = "the measuring stopped: {why}; `gainladder learn` with the same words goes on where it stopped"


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """What a session works with."""

    settings: SettingsFile
    bench: BenchSetup
    folder: Path
    """Of the provisional files and the notebook."""
    notebook: Notebook
    date: datetime.date
    owner: str
    seed: int | None
    faults: tuple[str, ...]
    fine: tuple[int, ...]
    """Fine positions to measure; all when empty."""
    notes: tuple[str, ...] = ()
    """What was asked of the device, and whose input limit holds."""

    @property
    def in_process(self) -> bool:
        """Whether the simulated bench runs in this process."""
        return self.bench.file.simulation is not None

    def device(self, scales_vpp: tuple[float, ...]) -> DeviceFile:
        """The provisional device."""
        tables = device_tables(self.settings, scales_vpp, date=self.date, owner=self.owner)
        return validate(DeviceFile, tables, file="provisional device")


def look(session: Session) -> list[str]:
    """What is known before anything is touched, line by line."""
    known = session.settings
    limits = ", ".join(f"{entry.max_vpk:g} V peak at {entry.impedance_ohm:g} ohm" for entry in known.input.limit)
    count = known.channels * len(known.range_names) * len(known.fine_names)
    profile = session.bench.profiles["device"]
    verbs = [verb for verb in ("select_coarse", "select_fine") if verb in profile.commands]
    how = "words loaded over the adapter" if known.set_by == "adapter" else f"commands ({', '.join(verbs)})"
    lines = [
        f"device     {known.name}: {known.channels} channels, {len(known.range_names)} ranges, "
        f"{len(known.fine_names)} fine positions: {count} settings, set by {how}",
        f"input      at most {limits}; bench {session.bench.file.max_level_vpk:g} V peak: nothing goes beyond",
        f"converter  {known.converter.bits} bits, codes {known.converter.low_code} to {known.converter.high_code}",
    ]
    if profile.in_volts:
        lines.append(f"records    scaled volts: a code is the spacing that all values share; {SPACING_LIMIT}")
    if known.probed is None:
        lines.append("bus        no line is probed: amplitudes alone must do, and no word can be found")
    else:
        lines.append(f"bus        probed on {', '.join(known.probed.lines)}")
    return lines + [f"known      {note}" for note in session.notes]


def listen(session: Session) -> None:
    """Find out what each line is for; kept in the notebook."""
    book, probed = session.notebook, session.settings.probed
    if book.heard or probed is None:
        return
    if session.settings.set_by == "adapter":
        book.wiring, book.latches = _given(session.settings)
        book.answers = (("lines", "given", "words are loaded over them"),)
    else:
        device = session.device(range_scales_vpp(session.settings, {}))
        visits = tuple(moves(session.settings.channels, len(session.settings.coarse), len(session.settings.fine_names)))
        with open_bench(
            session.bench, device, transport=_transport(session), seed=session.seed, faults=session.faults
        ) as opened, _obeying("listen"):
            captures = captures_of(opened.bench, visits)
        heard = hear(captures, minimum_pulse_ns=probed.minimum_pulse_ns, channels=session.settings.channels)
        book.wiring, book.latches = heard.wiring, dict(heard.latches)
        book.answers = answers_of(heard.roles, heard.troubles)
    book.heard = True
    book.save()


@contextlib.contextmanager
def _obeying(stage: str) -> Iterator[None]:
    """LearnError where the device does not stay where it was told to, in the words of the stage."""
    try:
        yield
    except ReadBackDiffers as error:
        allowed = "allowed is a device that stays where it is told to"
        todo = "switch autoranging off, or mend the command and its question in the profile"
        raise LearnError(f"learn: {stage}: {error}; {allowed}: {todo}") from error


def answers_of(roles: Roles, troubles: tuple[str, ...]) -> Answers:
    """Questions about the bus with answer and evidence, then what is wrong."""
    rows = tuple((name, found.value or "cannot tell", found.evidence) for name, found in role_rows(roles))
    return (*rows, *((TROUBLE, "", text) for text in troubles))


def _given(settings: SettingsFile) -> tuple[BusWiring | None, dict[int, tuple[str, ...]]]:
    """The bus as it was given, where words are loaded over it."""
    probed, words = settings.probed, settings.words
    if probed is None or words is None:
        return None, {}
    wiring = BusWiring(
        lines=probed.lines, data=probed.data or "", clock=probed.clock or "", clock_rising=True, latch_rising=True,
        minimum_pulse_ns=probed.minimum_pulse_ns,
        devices=tuple(BusDevice(latch=latch, bits=words.bits) for latch in probed.latches),
    )  # fmt: skip
    return wiring, {channel: (latch,) for channel, latch in enumerate(probed.latches, start=1)}


def scout_ranges(session: Session) -> list[str]:
    """Find the gain of each range once, upward from the least level; kept in the notebook. What is wrong, line by line.

    LearnError when no range can be measured at all.
    """
    book = session.notebook
    if book.scouting_done:
        return []
    setup = _setup(session, range_scales_vpp(session.settings, {}), ladder=False)
    probe = fine_probe(session.settings)
    wanted = (*_scouted_settings(session), *((probe,) if probe is not None else ()))
    with open_bench(
        setup.bench, setup.device, transport=_transport(session), seed=session.seed, faults=session.faults
    ) as opened, _obeying("scout"):
        *found, last = scout(opened.bench, plan_of(setup), wanted)
    if probe is None:
        found.append(last)
    names, fine_names = session.settings.range_names, session.settings.fine_names
    troubles = [
        f"{names[one.setting.coarse]} {fine_names[one.setting.fine]}: {one.trouble}" for one in found if one.trouble
    ]
    book.scouted = {one.setting: one.gain_codes_per_v for one in found if one.gain_codes_per_v}
    book.least_fill = min(one.fill_ratio for one in found if one.gain_codes_per_v) if book.scouted else 0.0
    if not book.scouted:
        raise LearnError(f"learn: no range can be measured: {'; '.join(troubles)}")
    if probe is not None:
        troubles += ranges_obeyed(book.scouted, session.settings)
        first = book.scouted.get(Setting(1, probe.coarse, 0))
        fine_obeyed(first, last.gain_codes_per_v, session.settings, heard=bool(book.latches.get(probe.channel)))
    book.scouting_done = True
    book.save()
    return troubles


def _scouted_settings(session: Session) -> tuple[Setting, ...]:
    if session.settings.set_by == "adapter":
        count = len(session.settings.fine_names)
        most = min(MOST_SCOUTED_WORDS, count)
        return tuple(Setting(1, 0, round(k * (count - 1) / (most - 1))) for k in range(most))
    return tuple(Setting(1, coarse, 0) for coarse in range(len(session.settings.coarse)))


def measure(session: Session, store: Store) -> str:
    """Measure all settings in a run of the store, or go on with it; its id.

    LearnError when the run stopped for the station's sake.
    """
    book = session.notebook
    if book.run and store.info(book.run).end == "finished":
        return book.run
    if book.run:
        # The record goes on by the files that it began with: they stand in the folder as they were.
        station = resume_run(store, book.run, ResumeRequest(job_path=str(session.folder / JOB)))
    else:
        setup = _setup(session, range_scales_vpp(session.settings, book.scouted))
        with open_bench(
            setup.bench, setup.device, transport=_transport(session), seed=session.seed, faults=session.faults
        ) as opened:
            request = RunRequest(unit="unknown", operator=session.owner, faults=session.faults)
            header = new_header(setup, opened, request)
            book.run = header.run_id
            book.save()
            say(f"run {header.run_id}: {len(setup.every_rung)} readings of {len(setup.planned())} settings")
            station = record_run(setup, opened, store, header)
    if station is not None:
        raise LearnError(f"learn: {STALLED.format(why=station)}")
    return book.run


def _setup(session: Session, scales_vpp: tuple[float, ...], *, ladder: bool = True) -> Setup:
    """The provisional files, written and read as any job's."""
    folder = session.folder
    tables = device_tables(
        session.settings, scales_vpp, date=session.date, owner=session.owner, scouting=not ladder
    )
    bench_path = os.path.relpath(session.bench.path, folder).replace(os.sep, "/")
    job = job_text(
        session.settings, bench_path=bench_path, fine=session.fine, in_process=session.in_process, date=session.date,
        owner=session.owner, fill_low=fill_low_of(session.notebook.least_fill),
    )  # fmt: skip
    write_file(folder / "device.toml", whole(tables, heading=HEADING))
    write_file(folder / "limits.toml", limits_text(session.settings, date=session.date, owner=session.owner))
    write_file(folder / JOB, job)
    return read_setup((folder / JOB).as_posix(), files=FileSet(), ladder=ladder)


def fill_low_of(least_fill: float) -> float:
    """The usual least fill, or a little less than the source can do in the range where it is weakest."""
    return USUAL_FILL if least_fill >= USUAL_FILL or least_fill <= 0.0 else round(WEAKER * least_fill, 3)


def _transport(session: Session) -> str | None:
    return "in-process" if session.in_process else None
