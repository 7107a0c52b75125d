"""The command line. Each command lives in its own file and is imported only when it is called."""

from __future__ import annotations

import importlib
import sys

import click

from harness.errors import BenchError, ExitCode, GainladderError

COMMANDS = {
    "sweep": "Walk a job's ladder: record, judge, report.",
    "preview": "Show the ladder of a job; opens nothing.",
    "shorten": "Choose few settings that show every known fault.",
    "resume": "Go on with a run that broke off.",
    "watch": "Follow a run from another terminal.",
    "judge": "Decide about a run again, or with other limits.",
    "report": "Make the page, CSV, JSON or JUnit of a run.",
    "runs": "List the recorded runs, newest first.",
    "golden": "Check a golden unit; study the gauge.",
    "station": "Notes, released files, fixture; who did what.",
    "line": "Serve the operator's page of a place.",
    "lot": "Yield, reasons, capability of many units.",
    "check": "Identify the instruments of a bench; source off.",
    "learn": "Find out what an unknown gain control does.",
    "simulate": "Serve a simulated bench to other programs.",
    "faults": "List what can be wrong with a simulated bench.",
    "decode": "Turn a capture of the control bus into words.",
    "calibrate": "Correction constants of the coarse ranges.",
    "advise": "Which setting suits a signal of a given size.",
    "export": "Hand on the results that wait.",
    "store": "Check, copy, forward or export the store.",
}
"""The commands in the order of a day's work, each with its line in the overview: short enough for 80 columns."""


ELSEWHERE = {"line": "harness.line.command"}
"""Commands of rooms that stand on this one: found by name, for nothing here may import them."""


class LazyGroup(click.Group):
    """Finds a command in `harness.app.commands` when it is needed: `--help` of one does not import the others."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """All commands, in the order of a day's work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of a name; None where there is none."""
        if cmd_name not in COMMANDS:
            return None
        module = ELSEWHERE.get(cmd_name, f"harness.app.commands.{cmd_name}")
        command: click.Command = importlib.import_module(module).command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The overview, without importing a single command."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]}, no_args_is_help=True)
@click.version_option(package_name="gainladder", message="%(prog)s %(version)s")
def cli() -> None:
    """Verify every digitally set gain of a front end: words, law, steps, realness.

    \b
    First steps, no hardware needed:
      gainladder preview configs/jobs/demo.toml
      gainladder sweep configs/jobs/demo.toml --unit A1 --seed 1
    """


def main() -> None:
    """Entry point: every error of ours becomes one message and its exit code."""
    try:
        code = cli(standalone_mode=False)
    except click.exceptions.Exit as stop:
        code = stop.exit_code
    except click.ClickException as error:
        error.show()
        code = ExitCode.USAGE
    except (KeyboardInterrupt, click.Abort) as stop:
        said = "\n".join(_notes(stop.__cause__ or stop)) or "the source was switched off"
        click.echo(f"interrupted; {said}", err=True)
        code = ExitCode.INTERRUPTED
    except GainladderError as error:
        code = _report(error)
    except SystemExit:
        # Raised by click alone, when whoever read our output is gone: no verdict has reached him, good or bad.
        code = ExitCode.INVALID
    except Exception as error:
        click.echo(f"internal error, please report it: {type(error).__name__}: {error}", err=True)
        import traceback

        traceback.print_exc()
        code = ExitCode.INTERNAL
    sys.exit(int(code or 0))


def _report(error: GainladderError) -> ExitCode:
    label = type(error).__name__ if isinstance(error, BenchError) else "error"
    click.echo("\n".join((f"{label}: {error}", *_notes(error))), err=True)
    return error.exit_code


def _notes(error: BaseException) -> tuple[str, ...]:
    """What was added to an error on its way up, above all that a source may still be on."""
    return tuple(getattr(error, "__notes__", ()))


if __name__ == "__main__":
    main()
