"""What a trial asks of the run loop, and what it gets back.

A trial's procedure is a generator: it yields requests and receives replies. It never touches an
instrument, a clock or the record. All numbers are SI; times are seconds of bench time.
"""

from collections.abc import Generator, Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
LoadMode = Literal["current", "voltage", "resistance", "power"]
Tag = Mapping[str, float | str]


@dataclass(frozen=True, slots=True)
class LoadState:
    """The electronic load: mode, level in that mode (A, V, ohm, W) and input switch.

    `resistors` are the numbers, from 1, of the bench document's resistors that are connected beside
    it; what flows in them is not in `level`.
    """

    mode: LoadMode
    level: float
    on: bool
    resistors: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class SupplyState:
    """The unit's own controls; None leaves a control as it is.

    `voltage` in volts is set until the proof channel reads within `band` volts of it.
    `current_limit` is in amperes, or "maximum" for a knob turned fully up.
    """

    voltage: float | None = None
    current_limit: float | Literal["maximum"] | None = None
    output: bool | None = None
    proof_channel: str = "voltage.sense"
    band: float = 0.0


@dataclass(frozen=True, slots=True)
class Apply:
    """Set a role to a state."""

    state: LoadState | SupplyState


@dataclass(frozen=True, slots=True)
class Settle:
    """Wait until every channel is steady, or until the time limit.

    Steady: over the last `window_s`, the channel's slope times the window and its scatter are both
    within the channel's `tolerance` (in the channel's own unit).
    """

    tolerance: Mapping[str, float]
    window_s: float
    period_s: float
    limit_s: float


@dataclass(frozen=True, slots=True)
class Read:
    """Read channels together `count` times, every `period_s` on an absolute schedule.

    `tag` names the point for the trial's figures: what it is, which leg, which level. A channel
    that a person types is read every time only where `period_s` leaves time for that
    (`documents.channels.TYPED_PERIOD_S`), else once, before the others.
    """

    channels: tuple[str, ...]
    count: int
    period_s: float
    tag: Tag = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Ask:
    """An instruction for a person, with the reading that proves that it was done.

    With `lifted`, the leads of the channel's meter are moved: the reading has to leave the band and
    come back, and the person has to say so.
    """

    instruction: str
    channel: str | None = None
    low: float = float("-inf")
    high: float = float("inf")
    limit_s: float = 600.0
    lifted: bool = False


@dataclass(frozen=True, slots=True)
class Note:
    """A remark for the record."""

    text: str
    severity: Literal["note", "warning"] = "note"


Request = Apply | Settle | Read | Ask | Note


@dataclass(frozen=True, slots=True)
class Applied:
    """A state was set at bench time `at`; `read_back` is what the instrument said it is set to."""

    at: float
    read_back: Mapping[str, float | str | bool]


@dataclass(frozen=True, slots=True)
class Settled:
    """How a Settle ended; `settled` False is a result, not an error."""

    at: float
    settled: bool
    waited_s: float
    slope_per_s: Mapping[str, float]
    scatter: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Readings:
    """The rows of one Read: for each channel, arrays of equal length.

    `asked` and `answered` are bench times in seconds; `value` is in the channel's unit and NaN
    where the instrument reported overload or no number.
    """

    asked: Mapping[str, Array]
    answered: Mapping[str, Array]
    value: Mapping[str, Array]


@dataclass(frozen=True, slots=True)
class Answered:
    """The person did what was asked: when, and the proving reading."""

    at: float
    done: bool
    value: float


@dataclass(frozen=True, slots=True)
class Noted:
    """The remark is in the record."""

    at: float


Reply = Applied | Settled | Readings | Answered | Noted
Procedure = Generator[Request, Reply, None]
