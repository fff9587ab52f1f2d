"""The command `steadyrail`: names, options and help of every command, and nothing heavy.

Only typer is imported here; the work of a command is imported inside it, so that help stays fast.
"""

import signal
import sys
from pathlib import Path
from typing import Annotated, Literal

import typer

from sequencer.command_line.start import INTERRUPTED
from sequencer.steady import Steady, say_last

app = typer.Typer(
    name="steadyrail",
    help="Put a bench DC supply through the measurements that its data sheet promises, and judge "
    "it with stated uncertainty.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


OUR_FAULT = (
    "This is a fault of the program, not of your unit or bench. What a run has recorded is kept. "
    "If a bench may be energised: steadyrail make-safe."
)

SchemaKind = Literal["unit", "bench", "profile", "dialect"]


def _show_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"steadyrail {version('steadyrail')}")
        raise typer.Exit


@app.callback()
def whole(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version."),
    ] = False,
) -> None:
    """Put a bench DC supply through its data sheet's measurements and judge it."""


ProfileArgument = Annotated[
    str, typer.Argument(help="A shipped profile's name, or a path to a profile file.")
]
UnitOption = Annotated[
    str | None, typer.Option(help="Another unit than the profile's: shipped name or path.")
]
BenchOption = Annotated[
    str | None, typer.Option(help="Another bench than the profile's: shipped name or path.")
]
JsonOption = Annotated[
    bool, typer.Option("--json", help="Print one JSON object on standard output, nothing else.")
]


@app.command()
def check(
    files: Annotated[
        list[str] | None,
        typer.Argument(help="Unit, bench, profile or dialect files, or shipped names."),
    ] = None,
    schema: Annotated[
        SchemaKind | None, typer.Option(help="Print the JSON Schema of a kind of document.")
    ] = None,
    json: JsonOption = False,
) -> None:
    """Check documents and list every mistake at once."""
    from sequencer.command_line import check as command

    _end(command.run(files or [], schema, as_json=json))


@app.command()
def plan(
    profile: ProfileArgument,
    unit: UnitOption = None,
    bench: BenchOption = None,
    steps: Annotated[
        bool,
        typer.Option("--steps", help="Also each step, every guard and the accuracy statements."),
    ] = False,
    json: JsonOption = False,
) -> None:
    """Show what a run will do, how long, by whose hands, and which limits it will cover."""
    from sequencer.command_line import plan as command

    _end(command.run(profile, unit, bench, steps=steps, as_json=json))


@app.command()
def run(
    profile: ProfileArgument,
    unit: UnitOption = None,
    bench: BenchOption = None,
    record: Annotated[
        Path | None, typer.Option(help="Where to write the record (must not exist yet).")
    ] = None,
    report: Annotated[
        Path | None, typer.Option(help="Where to write the report (must not exist yet).")
    ] = None,
    scenario: Annotated[
        str | None, typer.Option(help="Simulated bench only: what is wrong with the unit.")
    ] = None,
    seed: Annotated[
        int | None, typer.Option(min=0, help="Simulated bench only: which unit and bench.")
    ] = None,
    cautions_read: Annotated[
        bool,
        typer.Option("--cautions-read", help="Say that you have read the cautions of `plan`."),
    ] = False,
    trace: Annotated[
        Path | None, typer.Option(help="Write every message to this file (must not exist yet).")
    ] = None,
    unattended: Annotated[
        bool,
        typer.Option(
            "--unattended", help="Nobody will be there: refuse to start if something is missing."
        ),
    ] = False,
    json: JsonOption = False,
) -> None:
    """Run a profile on the bench, and end in verdicts, a record and a report."""
    from sequencer.command_line import run as command

    _end(
        command.run(
            profile,
            unit=unit,
            bench=bench,
            record=record,
            report=report,
            scenario=scenario,
            seed=seed,
            cautions_read=cautions_read,
            trace=trace,
            unattended=unattended,
            as_json=json,
        )
    )


RecordArgument = Annotated[Path, typer.Argument(help="The record of a run.")]


@app.command()
def resume(
    record: RecordArgument,
    cautions_read: Annotated[
        bool,
        typer.Option("--cautions-read", help="Say that you have read the cautions of `plan`."),
    ] = False,
    json: JsonOption = False,
) -> None:
    """Go on with a run after a crash, a reboot or a power cut."""
    from sequencer.command_line import resume as command

    _end(command.run(record, cautions_read=cautions_read, as_json=json))


@app.command("make-safe")
def make_safe(
    bench: Annotated[
        str | None,
        typer.Argument(help="A bench's name or file, or a record; the one in use by default."),
    ] = None,
    json: JsonOption = False,
) -> None:
    """Bring a bench to the state without energy at once, and show by readings whether it is."""
    from sequencer.command_line import make_safe as command

    _end(command.run(bench, as_json=json))


@app.command()
def judge(record: RecordArgument, json: JsonOption = False) -> None:
    """Compute every figure and verdict again from a record alone."""
    from sequencer.command_line import judge as command

    _end(command.run(record, as_json=json))


@app.command()
def report(
    record: RecordArgument,
    to: Annotated[
        Path | None,
        typer.Option(help="Where to write it; beside the record by default, under a new name."),
    ] = None,
    readings: Annotated[
        Path | None, typer.Option(help="Also write all readings there as CSV.")
    ] = None,
) -> None:
    """Write the report of a record as one HTML file."""
    from sequencer.command_line import report as command

    _end(command.run(record, to, readings))


@app.command()
def explain(
    target: Annotated[
        str | None,
        typer.Argument(metavar="[FIGURE|RECORD]", help="A figure to explain, or a run's record."),
    ] = None,
    figure: Annotated[
        str | None,
        typer.Argument(metavar="[FIGURE]", help="Which figure of that record: its whole budget."),
    ] = None,
    json: JsonOption = False,
) -> None:
    """Say what a figure is, or what made a record's figure as uncertain as it is."""
    from sequencer.command_line import explain as command

    _end(command.run(target, figure, as_json=json))


@app.command()
def verify(record: RecordArgument, json: JsonOption = False) -> None:
    """Show whether a record is sealed and unaltered, and whether its verdicts follow from it."""
    from sequencer.command_line import verify as command

    _end(command.run(record, as_json=json))


@app.command()
def probe(
    address: Annotated[
        str | None,
        typer.Argument(help="A VISA address; without one, those that can be found are listed."),
    ] = None,
    json: JsonOption = False,
) -> None:
    """Ask an instrument who it is and which dialects fit; nothing is set."""
    from sequencer.command_line import probe as command

    _end(command.run(address, as_json=json))


@app.command()
def exercise(
    bench: Annotated[str, typer.Argument(help="A bench document: shipped name or path.")],
    instruments: Annotated[
        list[str] | None, typer.Argument(help="Only these instruments of it.")
    ] = None,
    json: JsonOption = False,
) -> None:
    """Try every operation of a bench's dialects on its instruments, with outputs off."""
    from sequencer.command_line import exercise as command

    _end(command.run(bench, tuple(instruments or ()), as_json=json))


@app.command()
def simulate(
    scenario: Annotated[str, typer.Option(help="A shipped scenario's name or a path.")] = "healthy",
    seed: Annotated[int, typer.Option(min=0, help="Which unit and bench of that kind.")] = 1,
    port: Annotated[
        int, typer.Option(min=0, max=65000, help="First TCP port; 0 takes free ones.")
    ] = 5025,
    hislip: Annotated[
        int | None,
        typer.Option(min=0, max=65000, help="First port for HiSLIP as well; 0 takes free ones."),
    ] = None,
    vxi11: Annotated[
        int | None,
        typer.Option(min=0, max=65000, help="First port for VXI-11 as well; 0 takes free ones."),
    ] = None,
    serial: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="An instrument with a serial port as well; repeatable."),
    ] = None,
    control: Annotated[
        bool, typer.Option("--control", help="An instrument that starts and lists faults as well.")
    ] = False,
    truth: Annotated[
        bool, typer.Option("--truth", help="Print the true value of every figure as JSON.")
    ] = False,
    scenarios: Annotated[
        bool, typer.Option("--scenarios", help="List the shipped scenarios.")
    ] = False,
    trace: Annotated[
        Path | None,
        typer.Option(help="Serve the instruments of a message trace, answering as they did."),
    ] = None,
) -> None:
    """Serve the simulated bench on this machine, or print its truth."""
    from sequencer.command_line import simulate as command

    roads = command.Roads(port, hislip, tuple(serial or ()), control, vxi11)
    _end(command.run(scenario, seed, roads, truth=truth, scenarios=scenarios, trace=trace))


def _end(code: int) -> None:
    if code:
        raise typer.Exit(code)


def main() -> None:
    """Run the command line; a user's mistake ends in a paragraph, not in a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(
                errors="backslashreplace"
            )  # a terminal without µ still shows numbers
    sys.stdout = Steady(sys.stdout)  # whoever reads may have gone
    try:
        app(standalone_mode=True)
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
    except SystemExit as end:
        if end.code == INTERRUPTED:  # typer has turned the interrupt into that
            _tell_of_the_dead()
        raise
    except OSError as error:
        say_last(f"Output or file trouble: {error}.")
        sys.exit(2)
    except Exception as error:  # noqa: BLE001  # the last to hear of it
        code = _ended_by(error)
        _tell_of_the_dead()
        sys.exit(code)


ON_A_BENCH = ("run", "resume", "probe", "exercise")
"""Commands whose user believes that nothing is energised once they are refused."""


def _tell_of_the_dead() -> None:
    """Say which benches dead runs left that nobody has shown to be safe since."""
    if sys.argv[1:2] and sys.argv[1] in ON_A_BENCH:
        # Whoever presses Ctrl-C again wants no other end than this, which is near.
        before = signal.signal(signal.SIGINT, signal.SIG_IGN)
        try:
            from sequencer.run.bench_lock import left_by_the_dead

            for owner in left_by_the_dead():
                say_last(
                    f"A run that died may have left its bench energised: {owner}. "
                    "Make it safe: steadyrail make-safe"
                )
        except OSError:
            pass  # locks that can't be read name nobody
        finally:
            signal.signal(signal.SIGINT, before)


def _ended_by(error: Exception) -> int:
    """Say what ended the program, and return its exit code."""
    from sequencer.errors import NO_MEMORY, Exit, SteadyrailError

    if isinstance(error, SteadyrailError):
        say_last(str(error))
        return error.exit_code
    if isinstance(error, MemoryError):
        say_last(NO_MEMORY)
        return Exit.INSTRUMENT
    import traceback

    say_last(f"{traceback.format_exc()}\n{OUR_FAULT}")
    return Exit.OWN_FAULT


if __name__ == "__main__":
    main()
