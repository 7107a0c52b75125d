"""`gainladder advise`: the setting that measures a signal of some size best."""

from __future__ import annotations

from pathlib import Path

import click

from harness.app.options import json_option, store_option


@click.command()
@click.argument("source", metavar="JOB|RUN")
@click.option("--amplitude", "amplitude_vpk", type=float, required=True, metavar="V", help="At the input, V peak.")
@click.option("--channel", type=click.IntRange(min=1), help="Default: 1, or the first that the run measured.")
@store_option
@json_option
def command(source: str, amplitude_vpk: float, channel: int | None, store_url: str, as_json: bool) -> int:
    """Which setting measures a sine of --amplitude with the least uncertainty, beside the best coarse range alone.

    By the law of a JOB's device, or by what a RUN measured: gains, noise, offsets.
    """
    from harness.app.advise_text import advice_object, advice_text
    from harness.app.calibrate_run import known_u_percent, points_of_run
    from harness.app.output import result_json
    from harness.app.run import judged
    from harness.app.setup import read_setup, setup_of_run
    from harness.judge.advice import advise, options_of_law, options_of_record
    from harness.store import open_store

    note = ""
    if Path(source).is_file() or source.endswith(".toml"):
        setup = read_setup(source, ladder=False)
        chosen = channel or 1
        options, basis = options_of_law(setup.law, setup.device, channel=chosen), f"the law of {setup.device.name}"
        if not any(option.u_gain_percent for option in options):
            note = "the device file gives no tolerances: the gain counts as exact"
    else:
        with open_store(store_url, read_only=True) as store:
            header, result = judged(store, store.resolve(source))
            setup = setup_of_run(header)
            points = points_of_run(setup, store, header, result)
        chosen = channel or min((point.setting.channel for point in points), default=1)
        options = options_of_record(points, setup.law, channel=chosen)
        basis = f"the record of unit {header.unit}, run {header.run_id}"
        if not known_u_percent(result):
            note = "the gain's uncertainty is that of the readings alone, without the source's accuracy"
    device = setup.device
    advice = advise(
        options,
        amplitude_vpk,
        span_codes=setup.law.span_codes,
        samples=device.acquisition.samples,
        fill_high_ratio=setup.job.ladder.fill_high,
        limit_vpk=next(it.max_vpk for it in device.input.limit if it.impedance_ohm == device.input.impedance_ohm),
    )
    if as_json:
        result_json(advice_object(advice, basis=basis, channel=chosen, note=note))
    else:
        advice_text(advice, basis=basis, channel=chosen, note=note)
    return 0
