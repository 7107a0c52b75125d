"""A device nobody has documented, drawn at random: its path, its word, its firmware. No formula of ours is used."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

KINDS = ("linear-code", "mdac-feedback", "linear-in-db", "step-attenuator")
SPAN_CODES = 4096
CODES_PER_V = 2000.0
SLOPES_DB = {6: [0.375, 0.5], 7: [0.25, 0.3], 8: [0.125, 0.15]}
"""Steps of a number of so many bits: 30 to 40 dB in all."""


@dataclass(frozen=True)
class Field:
    """Neighbouring bits of the word."""

    name: str
    """code, pregain, range, coil or fill."""
    bits: int
    least_first: bool = False
    fill: int = 0


@dataclass(frozen=True, eq=False)
class Truth:
    """Everything about one device."""

    seed: int
    departs: str = ""
    """ripple, carry, weight, pole, range: what the unit does beside its design; empty for nothing."""

    @cached_property
    def _rng(self) -> np.random.Generator:
        return np.random.default_rng([self.seed, 20261130])

    @cached_property
    def drawn(self) -> dict[str, object]:
        """All draws in one fixed order."""
        rng = self._rng
        kind = KINDS[int(rng.integers(len(KINDS)))]
        bits = int(rng.integers(6, 9)) if kind in ("linear-in-db", "step-attenuator") else int(rng.integers(7, 10))
        pregain = float(rng.choice([0.0, 2.0, 4.0, 5.0, 8.0])) if rng.random() < 0.7 else 0.0
        range_bits = int(rng.integers(0, 3))
        hidden = bool(rng.random() < 0.6)
        coil = bool(rng.random() < 0.3)
        return {
            "kind": kind, "bits": bits, "pregain": pregain, "range_bits": range_bits, "hidden": hidden, "coil": coil,
            "least_first": bool(rng.random() < 0.3), "fill": int(rng.integers(0, 3)),
            "fill_value": int(rng.integers(0, 4)),
            "order": rng.random(8), "channels": int(rng.integers(1, 4)), "fine": int(rng.integers(9, 22)),
            "span_db": float(rng.choice([6.0, 8.0, 10.0])), "arithmetic": float(rng.choice([0.0, 0.0, 2.0, 4.0, 2.5])),
            "rule": "floor" if rng.random() < 0.25 else "nearest",
            "slope": float(rng.choice(SLOPES_DB.get(bits, [0.0]))),
            "lines": rng.permutation(8), "bystander": bool(rng.random() < 0.5),
            "clock_rising": bool(rng.random() < 0.7),
            "noise": float(rng.uniform(0.3, 1.2)), "range_ratios": rng.choice([2.0, 3.0, 5.0, 10.0], size=2),
            "names_volts": bool(rng.random() < 0.5),
        }  # fmt: skip

    def __getattr__(self, name: str) -> object:
        if name.startswith("_") or name == "drawn":
            raise AttributeError(name)
        try:
            return self.drawn[name]
        except KeyError:
            raise AttributeError(name) from None

    # ---- the word
    @cached_property
    def fields(self) -> tuple[Field, ...]:
        """First on the wire first."""
        d = self.drawn
        found = [Field("code", d["bits"], least_first=d["least_first"])]
        if d["pregain"]:
            found.append(Field("pregain", 1))
        if d["range_bits"]:
            found.append(Field("range", d["range_bits"]))
        if d["coil"] and d["hidden"]:
            found.append(Field("coil", 1))
        if d["fill"]:
            found.append(Field("fill", d["fill"], fill=d["fill_value"] % 2 ** d["fill"]))
        return tuple(found[k] for k in np.argsort(d["order"][: len(found)]))

    @property
    def word_bits(self) -> int:
        return sum(field.bits for field in self.fields)

    def word(self, coarse: int, fine: int) -> str:
        """The bits on the wire, first one first."""
        code, pregain = self.firmware(coarse, fine)
        state, value = self.combos[coarse]
        values = {"code": code, "pregain": pregain, "range": value, "coil": int(state > 0)}
        text = ""
        for field in self.fields:
            bits = f"{values.get(field.name, field.fill):0{field.bits}b}"
            text += bits[::-1] if field.least_first else bits
        return text

    # ---- the path
    @cached_property
    def combos(self) -> tuple[tuple[int, int], ...]:
        """Hidden state and range bits of each range, least gain first; the arithmetic range repeats the last one."""
        states = range(2 if self.drawn["hidden"] else 1)
        values = range(2 ** self.drawn["range_bits"])
        every = [(state, value) for state in states for value in values]
        apart: list[tuple[int, int]] = []
        for combo in sorted(every, key=lambda c: self.switched(*c, ideal=True)):
            gain = self.switched(*combo, ideal=True)
            if not apart or gain > 1.5 * self.switched(*apart[-1], ideal=True):
                apart.append(combo)
        return tuple(apart + ([apart[-1]] if self.drawn["arithmetic"] else []))

    def switched(self, state: int, value: int, *, ideal: bool = False) -> float:
        """Gain of relays and range bits; those of this unit are a little off."""
        ratios, off = self.drawn["range_ratios"], np.random.default_rng([self.seed, 7]).normal(0.0, 0.001, 3)
        gain = 1.0
        for bit in range(self.drawn["range_bits"]):
            if value >> bit & 1:
                gain *= ratios[bit] * (1.0 if ideal else 1.0 + off[bit])
        return gain * (100.0 * (1.0 if ideal else 1.0 + off[2]) if state else 1.0)

    def shape(self, code: float) -> float:
        """Gain of the code alone."""
        match self.drawn["kind"]:
            case "linear-code":
                return code / 2.0 ** self.drawn["bits"]
            case "mdac-feedback":
                return 2.0 ** self.drawn["bits"] / code
            case "linear-in-db":
                return 10.0 ** (self.drawn["slope"] * code / 20.0)
        return 10.0 ** (-self.drawn["slope"] * code / 20.0)

    @property
    def falling(self) -> bool:
        return self.drawn["kind"] in ("mdac-feedback", "step-attenuator")

    def exact(self, gain: float) -> float:
        """The code that would give a gain."""
        match self.drawn["kind"]:
            case "linear-code":
                return gain * 2.0 ** self.drawn["bits"]
            case "mdac-feedback":
                return 2.0 ** self.drawn["bits"] / gain
            case "linear-in-db":
                return 20.0 * math.log10(gain) / self.drawn["slope"]
        return -20.0 * math.log10(gain) / self.drawn["slope"]

    @cached_property
    def scale(self) -> float:
        """Gain in front of everything, V/V."""
        most = self.switched(*self.combos[-1], ideal=True) * self.first_gain * 10.0 ** (self.drawn["span_db"] / 20.0)
        return min(0.5, 400.0 / most)

    @cached_property
    def first_gain(self) -> float:
        """Gain of the code alone at the first fine position; with a pre-gain the second half of the span needs it."""
        top = 2 ** self.drawn["bits"] - 1
        most = max(self.shape(1.0), self.shape(float(top)))
        span = 10.0 ** (self.drawn["span_db"] / 20.0)
        if not self.drawn["pregain"]:
            return most / span * 0.97 if self.drawn["kind"] != "mdac-feedback" else min(most / span, 16.0) * 0.97
        limit = most if self.drawn["kind"] != "mdac-feedback" else min(most, 24.0)
        return limit / math.sqrt(span)

    def scales_vpp(self) -> tuple[float, ...]:
        """Full scale that each range is named after: three digits."""
        found = []
        for index, combo in enumerate(self.combos):
            gain = CODES_PER_V * self.scale * self.switched(*combo, ideal=True) * self.first_gain
            if self.drawn["arithmetic"] and index == len(self.combos) - 1:
                gain *= self.drawn["arithmetic"]
            found.append(float(f"{SPAN_CODES / gain:.3g}"))
        return tuple(found)

    def arithmetic_ratio(self, coarse: int) -> float:
        last = bool(self.drawn["arithmetic"]) and coarse == len(self.combos) - 1
        return self.drawn["arithmetic"] if last else 1.0

    def wanted(self, coarse: int, fine: int) -> float:
        """Gain that a setting is named after, codes a volt."""
        step_db = self.drawn["span_db"] / (self.drawn["fine"] - 1)
        return SPAN_CODES / self.scales_vpp()[coarse] * 10.0 ** (step_db * fine / 20.0)

    def firmware(self, coarse: int, fine: int) -> tuple[int, int]:
        """Code and pre-gain bit that the firmware sends: pre-gain only where the code alone does not reach."""
        combo = self.combos[coarse]
        analog = self.wanted(coarse, fine) / self.arithmetic_ratio(coarse)
        wanted = analog / (CODES_PER_V * self.scale * self.switched(*combo, ideal=True))
        choices = [(1.0, 0)] + ([(self.drawn["pregain"], 1)] if self.drawn["pregain"] else [])
        for ratio, bit in choices:
            exact = round(self.exact(wanted / ratio), 9)
            if self.drawn["rule"] == "floor":
                code = math.ceil(exact) if self.falling else math.floor(exact)
            else:
                code = math.floor(exact + 0.5)
            least = 0 if self.drawn["kind"] in ("linear-in-db", "step-attenuator") else 1
            if least <= code <= 2 ** self.drawn["bits"] - 1:
                return code, bit
        raise AssertionError(f"seed {self.seed}: no code for range {coarse}, position {fine}")

    @cached_property
    def departure(self) -> dict[str, float]:
        """How large, and where: draws of their own, so that the device is the same without."""
        rng = np.random.default_rng([self.seed, 11])
        return {
            "ripple": float(rng.uniform(0.006, 0.012)), "turns": float(rng.uniform(1.5, 3.0)),
            "phase": float(rng.uniform(0.0, 6.28)), "step": float(rng.choice([-1.0, 1.0]) * rng.uniform(0.006, 0.012)),
            "lost": float(rng.uniform(0.01, 0.03)),
        }  # fmt: skip

    @cached_property
    def used_codes(self) -> list[int]:
        """Codes of all settings, each once, least first."""
        combos, fine = range(len(self.combos)), range(self.drawn["fine"])
        return sorted({self.firmware(coarse, position)[0] for coarse in combos for position in fine})

    @cached_property
    def stepping_bit(self) -> int:
        """The bit that splits the codes that are used most evenly; the highest of equals."""
        codes = self.used_codes
        def split(bit: int) -> int:
            return min(sum(code >> bit & 1 for code in codes), sum(not code >> bit & 1 for code in codes))
        return max(range(self.drawn["bits"]), key=lambda bit: (split(bit), bit))

    def departs_by(self, coarse: int, code: int) -> float:
        """Gain over that of the design, for what the device does beside it."""
        d, codes = self.departure, self.used_codes
        set_ = code >> self.stepping_bit & 1
        match self.departs:
            case "ripple":
                turns = d["turns"] * (code - codes[0]) / (codes[-1] - codes[0])
                return 1.0 + d["ripple"] * math.sin(2.0 * math.pi * turns + d["phase"])
            case "carry":
                return 1.0 + d["step"] * set_
            case "weight":
                moved = code + set_ * 2.0**self.stepping_bit * 2.0 * d["step"]
                return self.shape(moved) / self.shape(float(code))
            case "pole":
                most = max(self.shape(float(one)) for one in codes)
                return 1.0 / math.sqrt(1.0 + 2.0 * d["lost"] * (self.shape(float(code)) / most) ** 2)
            case "range":
                return 1.0 + d["step"] * (coarse == 1)
        return 1.0

    def gain(self, channel: int, coarse: int, fine: int) -> float:
        """True hardware gain, codes a volt, of this unit."""
        code, bit = self.firmware(coarse, fine)
        off = np.random.default_rng([self.seed, 8, channel])
        channel_off = off.normal(0.0, 0.002)
        pregain_off = off.normal(0.0, 0.001)
        code_off = np.random.default_rng([self.seed, 9, code]).normal(0.0, 0.0003)
        gain = CODES_PER_V * self.scale * self.switched(*self.combos[coarse]) * self.shape(float(code))
        gain *= self.departs_by(coarse, code) if self.departs else 1.0
        gain *= (self.drawn["pregain"] * (1.0 + pregain_off)) if bit else 1.0
        return gain * (1.0 + channel_off) * (1.0 + code_off)
