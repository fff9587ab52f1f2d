"""The one interpreter of procedures: it carries requests to an answerer and replies back."""

from typing import Protocol

from sequencer.requests import Procedure, Reply, Request


class Answerer(Protocol):
    """Whatever gives the reply to a request: the live bench, a record, a rehearsal."""

    def answer(self, request: Request) -> Reply:
        """Carry out or look up `request` and return its reply."""


def perform(procedure: Procedure, answerer: Answerer) -> int:
    """Run a trial's procedure to its end and return how many requests it made.

    The procedure is closed whatever happens, so that its own clean-up runs.
    """
    count = 0
    try:
        request = next(procedure)
        while True:
            count += 1
            request = procedure.send(answerer.answer(request))
    except StopIteration:
        return count
    finally:
        procedure.close()
