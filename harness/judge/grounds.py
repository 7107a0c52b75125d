"""The ground of every realness decision of a run: words, waveform, and what counts of both."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from harness.config import DeviceFile
from harness.judge.confirm import confirm, evidence_values
from harness.judge.realness import Evidence, Found, of_settings, of_step
from harness.judge.waveform import NOTHING, Beside, Seen, WaveformLadder
from harness.values import Prediction, RealnessEvidence, Setting


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What a setting or step is, and on what ground."""

    found: Found
    values: RealnessEvidence


class Grounds:
    """Works out the ground of settings and steps."""

    def __init__(
        self,
        evidence: Mapping[Setting, Evidence],
        plan: Mapping[Setting, Prediction],
        seen: Mapping[Setting, Seen],
        *,
        device: DeviceFile,
        beside: Mapping[int, Beside] | None = None,
    ) -> None:
        """Take what is known of a run.

        Args:
            evidence: of each setting, words and gain.
            plan: what each setting is called.
            seen: a record of each setting that has one.
            device: for the codes that a multiplication leaves in place.
            beside: what readings beside the ladder tell, by channel; None where there are none.
        """
        self._evidence = evidence
        self._names = {setting: prediction.label for setting, prediction in plan.items()}
        full_scale_vpp = {setting: prediction.full_scale_vpp for setting, prediction in plan.items()}
        low, high = device.converter.low_code, device.converter.high_code
        origins = (0,) if low < 0 else (0, (low + high + 1) // 2)
        channels = sorted({setting.channel for setting in evidence})
        self._ladders = {
            channel: WaveformLadder(
                {setting: one for setting, one in seen.items() if setting.channel == channel},
                full_scale_vpp,
                origins=origins,
                paths={setting: one.relays for setting, one in evidence.items()},
                beside=(beside or {}).get(channel, NOTHING),
            )
            for channel in channels
        }
        self._words: dict[Setting, Found] = {}
        for channel in channels:
            self._words.update(of_settings([e for setting, e in evidence.items() if setting.channel == channel]))

    def setting(self, setting: Setting) -> Ground:
        """What one setting is.

        Args:
            setting: of the run.
        Returns:
            what counts, and its ground.
        Source:
            see of_settings, WaveformLadder and confirm.
        """
        words, view = self._words[setting], self._ladders[setting.channel].of_setting(setting)
        both = confirm(words, view)
        values = evidence_values(words, view, both, self._names)
        ladder = self._ladders[setting.channel]
        values = replace(
            values, code_step_in_v=ladder.code_step_in_v(setting), clip_in_vpk=ladder.clip_in_vpk(setting)
        )
        return Ground(found=both, values=values)

    def step(self, lower: Setting, upper: Setting) -> Ground:
        """What one step is.

        Args:
            lower: of less gain by the ladder's order.
            upper: its neighbour.
        Returns:
            what counts, and its ground.
        Source:
            see of_step, WaveformLadder and confirm.
        """
        words = of_step(self._evidence[lower], self._evidence[upper])
        view = self._ladders[lower.channel].of_step(lower, upper)
        both = confirm(words, view)
        return Ground(found=both, values=evidence_values(words, view, both, self._names))
