"""Call the command line in this process, as a shell would: words in; code, output, errors out."""

import contextlib
import io
import sys
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

from sequencer.command_line.app import main


@dataclass(frozen=True)
class Done:
    returncode: int
    stdout: str
    stderr: str


def steadyrail(*words: str, cwd: Path) -> Done:
    out, err = io.StringIO(), io.StringIO()
    code = 0
    with (
        contextlib.chdir(cwd),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        mock.patch.object(sys, "argv", ["steadyrail", *words]),
        mock.patch.object(sys, "stdin", io.StringIO("")),
    ):
        try:
            main()
        except SystemExit as end:
            code = int(end.code or 0)
    return Done(code, out.getvalue(), err.getvalue())
