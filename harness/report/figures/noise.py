"""Noise referred to the input against gain: which stage makes it, and whether the gain is real."""

from __future__ import annotations

from harness.report.figures.against_gain import draw_marks, log_gain, marks_of, name_decades, panels_of, whole_decades
from harness.report.figures.canvas import FAINT, INK, inline_svg, look
from harness.report.words import count
from harness.values import RunResult, SettingResult


def noise_svg(result: RunResult) -> str:
    """The noise of every setting, referred to the input, against its measured gain.

    Args:
        result: of a run.
    Returns:
        an `svg` element; empty when no setting has both noise and gain.
    """
    marks = marks_of(result, _input_noise_v)
    everything = [mark for group in marks.values() for mark in group]
    if not everything:
        return ""
    noisy = {channel: [mark for mark in group if mark.value > 0.0] for channel, group in marks.items()}
    with look("noise"):
        figure, panels = panels_of(len(marks))
        gains = whole_decades([mark.gain_codes_per_v for mark in everything])
        noises = whole_decades([mark.value for mark in everything if mark.value > 0.0])
        for (channel, group), axes in zip(noisy.items(), panels, strict=True):
            log_gain(axes, gains)
            axes.set_yscale("log")
            axes.set_ylim(*noises)
            name_decades(axes.yaxis, noises, unit="V")
            axes.plot(gains, [1.0 / gain for gain in gains], color=FAINT, linewidth=0.8, linestyle="--", zorder=2)
            draw_marks(axes, group, channel=channel)
            silent = len(marks[channel]) - len(group)
            if silent:
                text = f"{count(silent, 'setting')} without any noise"
                axes.text(0.02, 0.03, text, transform=axes.transAxes, color=INK, fontsize=8.0, zorder=6)
        figure.supxlabel("measured gain, codes/V", fontsize=9.0)
        figure.supylabel("noise at the input, rms", fontsize=9.0)
        return inline_svg(figure, label="Noise referred to the input against gain, one panel a channel")


def _input_noise_v(row: SettingResult, gain_codes_per_v: float) -> float | None:
    return None if row.noise_code is None else row.noise_code / gain_codes_per_v
