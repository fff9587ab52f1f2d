"""The answerer that reads replies from a record, and hands over when the record is used up.

Resuming is replaying: the procedure runs again from its start and gets the replies it once got, so
adaptive sweeps take the same turns; from the first unanswered request on, another answerer goes on.
"""

from collections.abc import Callable, Sequence

from sequencer.errors import RecordError
from sequencer.record.read import Step
from sequencer.requests import Read, Reply, Request
from sequencer.run.loop import Answerer


class Replay:
    """Answer from recorded steps; then let `then` answer, if there is one.

    A Read that was cut off is finished by `go_on` where that is given, else read anew as a whole.
    """

    def __init__(
        self,
        steps: Sequence[Step],
        then: Answerer | None = None,
        go_on: Callable[[Step], Reply] | None = None,
    ) -> None:
        # A request that was cut off by an earlier interruption was made again; that one counts.
        self._steps = [s for s in steps[:-1] if s.reply is not None] + list(steps[-1:])
        self._go_on = go_on
        self._then = then
        self._position = 0

    def answer(self, request: Request) -> Reply:
        """Return the recorded reply to `request`, or what the next answerer says.

        Raises
        ------
        RecordError
            When the record holds another request at this place, or ends and nothing follows.
        """
        if self._position < len(self._steps):
            step = self._steps[self._position]
            if step.request != request and step.reply is not None:
                raise RecordError(
                    f"The record holds {step.request!r} as request {self._position + 1} of "
                    f"this trial, but the procedure now asks for {request!r}. The record was "
                    "made with other documents or another version of the program: judge it "
                    "with that version, or start a new run."
                )
            if step.reply is not None:
                self._position += 1
                return step.reply
            self._position = len(self._steps)
            if self._go_on is not None and step.request == request and isinstance(request, Read):
                return self._go_on(step)
        if self._then is None:
            raise RecordError(
                f"The record ends after {self._position} requests of this trial and nothing is "
                "there to go on with it: the run was interrupted here."
            )
        return self._then.answer(request)
