"""The records of a ladder held against each other: what the waveform alone says of each setting and step."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

from harness.judge.waveform.assess import compare_records
from harness.judge.waveform.beside import NOTHING, Beside
from harness.judge.waveform.combine import Decision, Words, combine, sort_tests
from harness.judge.waveform.converter_noise import converter_noise
from harness.judge.waveform.record import Seen
from harness.judge.waveform.result import Says, WaveformTest
from harness.values import Realness, Setting

DECIDED = (Realness.HARDWARE, Realness.ARITHMETIC, Realness.MIXED)
CLEARS = (Realness.HARDWARE,)
SAME_NAME_RATIO = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Two settings of one channel held against each other."""

    reference: Setting
    """The less sensitive one."""
    setting: Setting
    ratio: float
    """By name, > 1."""
    moved_ratio: float
    """By the codes: gain of the setting over that of the reference."""
    tests: tuple[WaveformTest, ...]
    decision: Decision

    @property
    def realness(self) -> Realness:
        """What the step from the reference to the setting is."""
        return self.decision.realness

    @property
    def suspicious(self) -> bool:
        """Whether any test speaks for arithmetic, in whole or in part."""
        evidence = sort_tests(self.tests, ratio=self.ratio)
        return bool(evidence.arithmetic or evidence.partial)

    @property
    def still(self) -> bool:
        """Whether the gain of the codes moved by less than half the step."""
        return abs(math.log(self.moved_ratio)) < 0.5 * math.log(self.ratio)


@dataclass(frozen=True, slots=True, kw_only=True)
class WaveformView:
    """What the waveform alone says of one setting or step."""

    decision: Decision
    compared: tuple[Compared, ...]
    """What it rests on."""

    @property
    def still(self) -> bool:
        """Whether the codes did not follow where arithmetic was found: the scale alone changed, or nothing."""
        found = [c for c in self.compared if c.realness is Realness.ARITHMETIC]
        return bool(found) and all(c.still for c in found)


class WaveformLadder:
    """The records of one channel, one for each setting; pairs are compared when they are asked for, each once."""

    def __init__(
        self,
        seen: Mapping[Setting, Seen],
        full_scale_vpp: Mapping[Setting, float],
        *,
        origins: tuple[int, ...] = (0,),
        paths: Mapping[Setting, Hashable] | None = None,
        beside: Beside = NOTHING,
    ) -> None:
        """Take the records.

        Args:
            seen: of settings of one channel.
            full_scale_vpp: nominal full scale of at least these settings, which is what their names say.
            origins: codes that a multiplication may leave in place.
            paths: what stands ahead of the gain at each setting, such as the relays that are picked; settings of one
                path show the converter's noise by noise against gain. None: one path for all.
            beside: what the readings beside the ladder tell of the channel.
        """
        self._seen = seen
        self._full_scale_vpp = full_scale_vpp
        self._origins = origins
        self._beside = beside
        self._not_asked = beside.not_asked()
        self._paths = {setting: None if paths is None else paths.get(setting) for setting in seen}
        self._noise: dict[Hashable, float | None] = {}
        self._pairs: dict[tuple[Setting, Setting], Compared] = {}
        by_name = sorted(seen, key=lambda s: (-full_scale_vpp[s], s))
        self._ranges: dict[int, list[Setting]] = {}
        self._columns: dict[int, list[Setting]] = {}
        for setting in by_name:
            self._ranges.setdefault(setting.coarse, []).append(setting)
            self._columns.setdefault(setting.fine, []).append(setting)

    def of_setting(self, setting: Setting) -> WaveformView | None:
        """What one setting is: held against its range's ends, and against its neighbours of other ranges.

        Arithmetic is found against a less sensitive reference. Where there is none, or it is too near to tell, a more
        sensitive one that moved by hardware alone clears the setting as well.

        Args:
            setting: any.
        Returns:
            the view; None without a record of it.
        Source:
            common practice, no source: two tests must agree and none contradict; every comparison must clear a setting.
        """
        if setting not in self._seen:
            return None
        column = self._columns[setting.fine]
        place = column.index(setting)
        sides = [
            self._side(setting, self._ranges[setting.coarse][0], self._ranges[setting.coarse][-1]),
            self._side(setting, column[max(place - 1, 0)], column[min(place + 1, len(column) - 1)]),
        ]
        made = [compared for side in sides for compared in side]
        # A more sensitive reference can clear a setting; if it is arithmetic itself, that says nothing of this one.
        last = [side[-1] for side in sides if side and (side[-1].setting == setting or side[-1].realness in CLEARS)]
        return WaveformView(decision=_of_both(last), compared=tuple(made))

    def of_step(self, lower: Setting, upper: Setting) -> WaveformView | None:
        """What the step between two settings is.

        A fine step may be too small for most tests. Then both sides are held against an end of their range: if both
        are hardware there, and nobody contradicts, and counts of codes exclude the step's own factor, it is hardware.

        Args:
            lower: less sensitive by name.
            upper: its neighbour.
        Returns:
            the view; None where a record is missing or both have one name.
        Source:
            common practice, no source: two tests must agree and none contradict.
        """
        own = self.compare(lower, upper)
        if own is None:
            return None
        if own.realness in DECIDED or lower.coarse != upper.coarse:
            return WaveformView(decision=own.decision, compared=(own,))
        ends = self._ranges[lower.coarse]
        sides = [self._side(s, ends[0], ends[-1])[-1:] for s in (lower, upper)]
        made = (own, *(c for side in sides for c in side if c is not own))
        return WaveformView(decision=_by_sides(own, made[1:]), compared=made)

    def code_step_in_v(self, setting: Setting) -> float | None:
        """How far apart the values lie that the record of a setting can take.

        Args:
            setting: any.
        Returns:
            V at the input; None without a record, or with one that shows too few values.
        Source:
            see spacing_of.
        """
        seen = self._seen.get(setting)
        spacing = None if seen is None else seen.spacing
        return None if seen is None or spacing is None else spacing.units / seen.gain_per_v

    def clip_in_vpk(self, setting: Setting) -> float | None:
        """Where the overdriven record of a setting ends.

        Args:
            setting: any.
        Returns:
            V peak at the input; None without such a record, or where it does not clip.
        Source:
            see overdriven.
        """
        seen, over = self._seen.get(setting), (self._beside.overdriven or {}).get(setting)
        if seen is None or over is None or isinstance(over, str) or not over.flat:
            return None
        return over.half / seen.gain_per_v

    def compare(self, one: Setting, other: Setting) -> Compared | None:
        """Two settings held against each other, the less sensitive one as the reference.

        Args:
            one: a setting.
            other: another one of the same channel.
        Returns:
            tests and decision; None where a record is missing or both have the same full scale.
        Source:
            see waveform_tests and combine.
        """
        if one not in self._seen or other not in self._seen:
            return None
        ratio = self._full_scale_vpp[one] / self._full_scale_vpp[other]
        if abs(ratio - 1.0) < SAME_NAME_RATIO:
            return None
        reference, setting = (one, other) if ratio > 1.0 else (other, one)
        key = (reference, setting)
        if key not in self._pairs:
            ratio = round(max(ratio, 1.0 / ratio), 12)
            a, b = self._seen[reference], self._seen[setting]
            tests = compare_records(
                a, b, ratio=ratio, origins=self._origins, converter_noise_code=self._noise_of(self._paths[reference])
            )
            tests += self._beside.tests(reference, setting, a, b, ratio=ratio)
            decision = combine(tests, Words.NOT_CAPTURED, ratio=ratio)
            self._pairs[key] = Compared(
                reference=reference, setting=setting, ratio=ratio, moved_ratio=b.gain_per_v / a.gain_per_v,
                tests=(*tests, *self._not_asked), decision=decision,
            )  # fmt: skip
        return self._pairs[key]

    def _noise_of(self, path: Hashable) -> float | None:
        """The converter's noise by all settings of a path, worked out once."""
        if path not in self._noise:
            members = [one for setting, one in self._seen.items() if self._paths[setting] == path]
            self._noise[path] = converter_noise(members)
        return self._noise[path]

    def _side(self, setting: Setting, below: Setting, above: Setting) -> list[Compared]:
        """Comparisons in one direction of the ladder, the one that counts last; none where there is nobody else."""
        made = [c for c in (self.compare(setting, below),) if c is not None]
        if not made or (made[0].realness not in DECIDED and not made[0].suspicious):
            further = self.compare(setting, above)
            if further is not None and (not made or further.realness is Realness.HARDWARE):
                made.append(further)
        return made


def _of_both(sides: Sequence[Compared]) -> Decision:
    if not sides:
        return _unproven("no other setting to compare with", ())
    arithmetic = [c for c in sides if c.realness in (Realness.ARITHMETIC, Realness.MIXED)]
    unproven = [c for c in sides if c.realness not in DECIDED]
    if arithmetic:
        factors = [c.decision.arithmetic_ratio for c in arithmetic]
        known = [factor for factor in factors if factor is not None]
        first = arithmetic[0].decision
        return Decision(
            realness=next((c.realness for c in arithmetic if c.realness is Realness.MIXED), Realness.ARITHMETIC),
            confidence=min(c.decision.confidence for c in arithmetic),
            why="; ".join(c.decision.why for c in arithmetic),
            power_m=first.power_m,
            hardware_ratio=first.hardware_ratio if len(arithmetic) == 1 else None,
            arithmetic_ratio=math.prod(known) if len(known) == len(factors) else None,
        )
    if unproven:
        return _unproven("; ".join(c.decision.why for c in unproven), sides)
    return Decision(
        realness=Realness.HARDWARE,
        confidence=min(c.decision.confidence for c in sides),
        why="; ".join(c.decision.why for c in sides),
        power_m=_weakest(sides),
        hardware_ratio=sides[-1].decision.hardware_ratio,
        arithmetic_ratio=1.0,
    )


def _by_sides(own: Compared, sides: Sequence[Compared]) -> Decision:
    """A step that its own two records do not decide, by what each side is against an end of the range."""
    whole = [c.realness for c in sides]
    if len(whole) != 2:
        return own.decision
    counted = any(test.name == "W2" and test.says is Says.HARDWARE for test in own.tests)
    if all(realness is Realness.HARDWARE for realness in whole) and counted and not own.suspicious:
        return Decision(
            realness=Realness.HARDWARE,
            confidence=min(c.decision.confidence for c in sides),
            why=f"{_told(own, Says.HARDWARE)}; and both sides are hardware against an end of the range",
            power_m=_weakest((own, *sides)),
            hardware_ratio=own.ratio,
            arithmetic_ratio=1.0,
        )
    alike = sides[0].reference == sides[1].reference
    if all(realness is Realness.ARITHMETIC for realness in whole) and alike and not _told(own, Says.HARDWARE):
        return Decision(
            realness=Realness.ARITHMETIC,
            confidence=min(c.decision.confidence for c in sides),
            why="both sides are arithmetic against the same reference: " + sides[-1].decision.why,
            power_m=own.decision.power_m,
            hardware_ratio=1.0,
            arithmetic_ratio=own.ratio,
        )
    return own.decision


def _told(compared: Compared, says: Says) -> str:
    return "; ".join(f"{t.name}: {t.why}" for t in compared.tests if t.says is says)


def _weakest(sides: Sequence[Compared]) -> float | None:
    """What all of them could have told."""
    powers = [c.decision.power_m for c in sides if c.decision.power_m is not None]
    return max(powers) if powers and len(powers) == len(sides) else None


def _unproven(why: str, sides: Sequence[Compared]) -> Decision:
    return Decision(
        realness=Realness.UNPROVEN, confidence=0.5, why=why, power_m=_weakest(sides),
        hardware_ratio=None, arithmetic_ratio=None,
    )  # fmt: skip
