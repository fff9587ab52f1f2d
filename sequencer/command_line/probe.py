"""`steadyrail probe`: ask an instrument who it is and which dialects fit, or list addresses."""

import json
import re
import sys
from collections.abc import Mapping

from rich.console import Console
from rich.progress import Progress
from rich.table import Table

from drivers.errors import InstrumentError
from drivers.probe import Fit, Probed, probe, reachable
from sequencer.errors import BenchFailed, Exit
from sequencer.run.visit import visiting

MOST_FITS = 5
WITH_EVIDENCE = 2
"""Dialects whose every question and answer is shown."""


def run(address: str | None, *, as_json: bool) -> int:
    """Probe one address, or list those that can be found; return the exit code."""
    return _list(as_json=as_json) if address is None else _probe(address, as_json=as_json)


def _list(*, as_json: bool) -> int:
    found = reachable()
    if as_json:
        sys.stdout.write(json.dumps({"addresses": found}) + "\n")
        return Exit.PASSED
    for one in found:
        sys.stdout.write(f"{one}\n")
    many = "1 address" if len(found) == 1 else f"{len(found) or 'No'} addresses"
    sys.stdout.write(
        f"{many} found. Raw sockets can't be found, only tried: steadyrail probe "
        "TCPIP0::HOST::PORT::SOCKET, with the port from the instrument's manual.\n"
    )
    return Exit.PASSED


def _probe(address: str, *, as_json: bool) -> int:
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Asking", total=None)
        try:
            with visiting((address,)):
                found = probe(
                    address, on_progress=lambda done, of: bar.update(task, completed=done, total=of)
                )
        except InstrumentError as error:
            raise BenchFailed(str(error)) from error
    if as_json:
        sys.stdout.write(json.dumps(_as_object(found)) + "\n")
        return Exit.PASSED
    _show(found, Console())
    return Exit.PASSED


def _as_object(found: Probed) -> dict[str, object]:
    return {
        "address": found.address,
        "identity": found.identity,
        "link": dict(found.link),
        "fits": [
            {
                "dialect": fit.dialect,
                "roles": fit.roles,
                "certainty": fit.certainty,
                "evidence": [
                    {"question": one.question, "answer": one.answer, "fits": one.fits}
                    for one in fit.evidence
                ],
            }
            for fit in found.fits
        ],
    }


def _show(found: Probed, console: Console) -> None:
    console.print(f"{found.address}: {found.identity}", markup=False, soft_wrap=True)
    if not found.fits:
        console.print(
            "No shipped dialect is recognised by questions that change nothing. Some instruments "
            "(thermometers, scanners) can only be told by their manual: take the dialect whose "
            "messages it lists, or write one."
        )
        return
    table = Table(box=None, pad_edge=False)
    for heading in ("Dialect", "Role", "Certainty", "Questions answered as it declares"):
        table.add_column(heading, overflow="fold")
    for fit in found.fits[:MOST_FITS]:
        good = sum(one.fits for one in fit.evidence)
        table.add_row(
            fit.dialect,
            ", ".join(fit.roles),
            f"{fit.certainty:.0%}",
            f"{good} of {len(fit.evidence)}",
        )
    console.print(table)
    for fit in found.fits[:WITH_EVIDENCE]:
        _show_evidence(fit, console)
    best = found.fits[0]
    also = [fit.dialect for fit in found.fits[1:] if fit.certainty == best.certainty]
    if also:
        console.print(
            f"Questions alone can't tell it from {', '.join(also)}: read the descriptions.",
            markup=False,
        )
    console.print("\nFor the bench document:\n")
    console.print(block(found, best), markup=False, highlight=False, soft_wrap=True)


def _show_evidence(fit: Fit, console: Console) -> None:
    console.print(f"\n{fit.dialect}: {fit.description}", markup=False)
    for one in fit.evidence:
        answer = "no answer" if one.answer is None else repr(one.answer)
        mark = "as declared" if one.fits else "not as declared"
        console.print(f"  {one.question}  {answer}  {mark}", markup=False, highlight=False)


def block(found: Probed, fit: Fit) -> str:
    """Return the instrument's table for a bench document, in TOML."""
    model = found.identity.split(",")[1] if found.identity.count(",") else fit.roles[0]
    name = re.sub(r"[^a-z0-9]+", "_", model.lower()).strip("_") or fit.roles[0]
    lines = [
        f"[instruments.{name}]",
        f'role = "{fit.roles[0]}"',
        f'dialect = "{fit.dialect}"',
        f"address = {json.dumps(found.address)}",
        f"identity = {json.dumps(found.identity)}",
    ]
    return "\n".join([*lines, *_link_lines(name, found.link)])


def _link_lines(name: str, link: Mapping[str, object]) -> list[str]:
    if not link:
        return []
    return ["", f"[instruments.{name}.link]", *(f"{k} = {json.dumps(v)}" for k, v in link.items())]
