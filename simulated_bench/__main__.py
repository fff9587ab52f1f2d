"""`python -m simulated_bench`: serve a bench, print its truth, list the scenarios."""

import argparse
import json
import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from simulated_bench.server import Server

WRONG_USE: Final = 2
NO_PORT: Final = 5


def main(words: Sequence[str] | None = None) -> int:
    """Run the program and return its exit code."""
    from simulated_bench.errors import BenchError  # noqa: PLC0415  # --help needs nothing

    given = _parser().parse_args(words)
    try:
        if given.command == "scenarios":
            return _scenarios()
        if given.command == "truth":
            return _truth(given.scenario, given.seed)
        if given.command == "replay":
            return _replay(given)
        return _serve(given)
    except BenchError as error:
        sys.stderr.write(f"{error}\n")
        return WRONG_USE
    except BrokenPipeError:  # whoever read the list has read enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return WRONG_USE


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="simulated_bench", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    serve = commands.add_parser("serve", help="serve the instruments over TCP")
    replay = commands.add_parser("replay", help="serve instruments that answer as a trace has it")
    replay.add_argument("trace", help="a message trace")
    truth = commands.add_parser("truth", help="print the true value of every figure as JSON")
    commands.add_parser("scenarios", help="list the shipped scenarios")
    for command in (serve, truth):
        command.add_argument("--scenario", default="healthy", help="a shipped name or a path")
        command.add_argument("--seed", type=_seed, default=1)
    for command in (serve, replay):
        command.add_argument("--port", type=_port, default=0, help="first port; 0: free ones")
        command.add_argument("--host", default="127.0.0.1", help="address to listen on")
        command.add_argument(
            "--until-stdin-closes", action="store_true", help="end when standard input ends"
        )
    serve.add_argument(
        "--pty",
        action="append",
        default=[],
        metavar="NAME",
        help="also serve this instrument over a serial port (a pseudo-terminal); may be repeated",
    )
    for option, road in (("--hislip", "HiSLIP"), ("--vxi11", "VXI-11")):
        serve.add_argument(
            option,
            type=_port,
            metavar="PORT",
            help=f"also serve every instrument over {road}, from this port on; 0 takes free ones",
        )
    serve.add_argument(
        "--control", action="store_true", help="also serve the control instrument, at the last port"
    )
    return parser


def _seed(text: str) -> int:
    seed = int(text)
    if seed < 0:
        raise argparse.ArgumentTypeError(f"found {text}, expected a whole number from 0")
    return seed


def _port(text: str) -> int:
    port = int(text)
    if not 0 <= port <= 65500:
        raise argparse.ArgumentTypeError(f"found {text}, expected 0 to 65500")
    return port


def _scenarios() -> int:
    from simulated_bench.scenario import load, shipped  # noqa: PLC0415

    names = shipped()
    width = max(map(len, names))
    for name in names:
        sys.stdout.write(f"{name:<{width}}  {load(name).description}\n")
    return 0


def _truth(name: str, seed: int) -> int:
    from simulated_bench.scenario import load  # noqa: PLC0415
    from simulated_bench.truth import truth  # noqa: PLC0415

    sys.stdout.write(json.dumps(truth(load(name), seed)) + "\n")
    return 0


def _serve(given: argparse.Namespace) -> int:
    from simulated_bench.instruments.reading_tables import read_tables  # noqa: PLC0415
    from simulated_bench.instruments.table_top import place  # noqa: PLC0415
    from simulated_bench.scenario import load  # noqa: PLC0415
    from simulated_bench.server import Server  # noqa: PLC0415
    from simulated_bench.world import World  # noqa: PLC0415

    scenario = load(given.scenario)
    said = scenario.instruments
    if given.control:
        said = {**said, "control": said.get("control", {})}
    tables = read_tables(said, given.scenario)
    unknown = [name for name in given.pty if name not in tables]
    if unknown:
        sys.stderr.write(
            f"--pty: found {', '.join(unknown)}, expected names out of {', '.join(tables)}\n"
        )
        return WRONG_USE
    placed = place(World(scenario, given.seed), tables, given.seed, scenario.faults, given.scenario)
    try:
        server = Server(placed, given.host, given.port, given.pty, given.hislip, given.vxi11)
    except OSError as error:
        sys.stderr.write(
            f"{given.host}, ports from {given.port}: can't listen ({error.strerror}); "
            "choose others with --port, --hislip and --vxi11, or 0 for free ones\n"
        )
        return NO_PORT
    server.stop_on_signals()
    if given.until_stdin_closes:
        _end_with_stdin(server)
    ready: dict[str, object] = {
        "ready": True,
        "scenario": given.scenario,
        "seed": given.seed,
        "instruments": server.addresses(),
    }
    if given.hislip is not None:
        ready["hislip"] = server.hislip_addresses()
    if given.vxi11 is not None:
        ready["vxi11"] = server.vxi11_addresses()
    if given.pty:
        ready["serial"] = server.serial_addresses()
    sys.stdout.write(json.dumps(ready) + "\n")
    sys.stdout.flush()
    server.run()
    server.close()
    return 0


def _replay(given: argparse.Namespace) -> int:
    """Serve a trace until a signal, or the end of standard input, comes."""
    import signal  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415

    from simulated_bench.replayed import read_trace, served  # noqa: PLC0415

    trace = read_trace(Path(given.trace))
    try:
        with served(trace, given.host, given.port) as addresses:
            ready = {"ready": True, "trace": given.trace, "instruments": addresses}
            sys.stdout.write(json.dumps(ready) + "\n")
            sys.stdout.flush()
            if given.until_stdin_closes:
                while os.read(sys.stdin.fileno(), 4096):
                    pass
            else:
                signal.sigwait({signal.SIGTERM, signal.SIGINT})
    except OSError as error:
        sys.stderr.write(
            f"{given.host}, ports from {given.port}: can't listen ({error.strerror}); "
            "choose others with --port, or 0 for free ones\n"
        )
        return NO_PORT
    return 0


def _end_with_stdin(server: "Server") -> None:
    stdin = sys.stdin.fileno()
    try:
        server.when_readable(stdin, lambda _: None if os.read(stdin, 4096) else server.stop())
    except PermissionError:  # a file or /dev/null: nothing to wait for, it ends at once
        server.stop()


if __name__ == "__main__":
    raise SystemExit(main())
