"""Compiles a message into steps: header path, commands, values. Nothing is carried out here."""

from typing import NamedTuple

from simulated_bench.scpi.commands import Command, Table
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import Value
from simulated_bench.scpi.syntax import read_unit, split_units


class Step(NamedTuple):
    """One command with its values."""

    command: Command
    values: tuple[Value, ...]


class Program(NamedTuple):
    """What a message asks for; `error` is the command error that ends it, if any."""

    steps: tuple[Step, ...]
    error: ScpiError | None


def compile_message(message: str, table: Table) -> Program:
    """Return the steps of a message, as far as it can be understood.

    After a semicolon the header path goes on from the last level; a leading colon returns to the
    root; common commands leave the path alone (SCPI-1999, volume 1, 6.2.4).
    """
    steps: list[Step] = []
    path = ""
    try:
        for text in split_units(message):
            if not text:
                continue
            unit = read_unit(text)
            header = unit.header.upper()
            if header[0] == ":":
                header = header[1:]
            elif header[0] != "*":
                header = path + header
            command, numbers = table.find(header, query=unit.query)
            steps.append(Step(command, numbers + command.values(unit.parameters)))
            if header[0] != "*":
                path = header[: header.rfind(":") + 1]
    except ScpiError as error:
        return Program(tuple(steps), error)
    return Program(tuple(steps), None)
