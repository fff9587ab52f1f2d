"""A dialect: how one family of instruments spells a role, as data.

Files lie in `drivers/dialects`, or anywhere when the bench document gives a path
(`drivers.dialect_files`). Names of settings and questions are the project's own; messages are the
instrument's.
"""

from string import Formatter
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

NEEDED: dict[str, tuple[frozenset[str], frozenset[str], frozenset[str]]] = {
    # role: settings, questions, actions that a dialect of that role must have
    "voltmeter": (frozenset(), frozenset({"voltage"}), frozenset()),
    "ammeter": (frozenset(), frozenset({"current"}), frozenset()),
    "thermometer": (frozenset(), frozenset({"temperature"}), frozenset()),
    "load": (frozenset({"mode", "input", "level_current"}), frozenset(), frozenset()),
    "supply": (frozenset({"voltage", "current_limit", "output"}), frozenset(), frozenset()),
    "line_source": (frozenset({"voltage", "frequency", "output"}), frozenset(), frozenset()),
    "scanner": (frozenset(), frozenset({"closed"}), frozenset({"close", "open_all"})),
    "switch": (frozenset(), frozenset({"closed"}), frozenset({"close", "open"})),
    "oscilloscope": (frozenset(), frozenset({"voltage"}), frozenset()),
    "interlock": (frozenset(), frozenset({"state"}), frozenset()),
    "time_base": (frozenset(), frozenset({"time", "until"}), frozenset()),
    "person": (frozenset(), frozenset({"state"}), frozenset({"instruct", "show", "finish"})),
}

PLACEHOLDERS = frozenset({"value", "input", "text", "within"})


def placeholders(template: str) -> set[str]:
    """Return the names in braces of a message template."""
    return {name for _, name, _, _ in Formatter().parse(template) if name is not None}


def _known_placeholders(template: str) -> str:
    if unknown := placeholders(template) - PLACEHOLDERS:
        raise ValueError(
            f"unknown placeholder {', '.join(sorted(unknown))}; "
            f"known are {', '.join(sorted(PLACEHOLDERS))}"
        )
    return template


Message = Annotated[
    str,
    Field(min_length=1, pattern=r"^[\x20-\x7e]+$"),
    AfterValidator(_known_placeholders),
]


class Strict(BaseModel):
    """Base of the models: unknown keys are mistakes, nothing changes once read."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Question(Strict):
    """A question and how its answer reads.

    With `tokens`, the answer is one of the spellings listed per name. Otherwise it is a number,
    with one of the `suffixes` (unit to factor) where any are declared; the number times `factor`
    is SI.
    """

    ask: Message
    suffixes: dict[str, float] = {}
    tokens: dict[str, tuple[str, ...]] = {}
    factor: float = Field(default=1.0, gt=0, description="from the answer to SI")
    overload_texts: frozenset[str] = frozenset()
    convert: Literal["platinum", "type K", "type T"] | None = Field(
        default=None,
        description="the answer is a platinum resistor's resistance in ohm (IEC 60751) or a "
        "thermocouple's voltage in volts (ITS-90), wanted is degrees Celsius",
    )
    reference: float = Field(
        default=0.0,
        ge=0,
        le=60,
        description="a thermocouple's reference junction, degC, held there",
    )
    nominal: float = Field(default=100.0, gt=0, description="that resistor's ohms at 0 degC")
    format: str = ".9g"
    timeout: float | None = Field(default=None, gt=0, description="seconds, if longer than usual")
    harmless: bool = Field(
        default=False, description="asking changes nothing, so that probing may ask it"
    )


class Setting(Strict):
    """A message that sets a value, and the question that reads it back.

    `{value}` in `write` is the SI number times `factor` in `format`, or one of `values` for a name.
    A number read back must equal what was set within `absolute + relative × |value|`, in SI; or,
    where `compare` says so, be at least that, as for ranges.
    """

    write: Message
    read_back: Question | None = None
    values: dict[str, Message] = {}
    factor: float = Field(default=1.0, gt=0, description="from SI to what is written")
    format: str = ".6g"
    compare: Literal["equal", "at least"] = "equal"
    relative: float = Field(default=0.0, ge=0)
    absolute: float = Field(default=0.0, ge=0)

    @model_validator(mode="after")
    def _has_a_place_for_the_value(self) -> Self:
        if "value" not in placeholders(self.write):
            raise ValueError("'write' must hold {value}")
        return self


class Link(Strict):
    """How messages and answers end, and what the instrument can take."""

    read_terminator: str = Field(default="\n", min_length=1)
    write_terminator: str = Field(default="\n", min_length=1)
    compound: bool = Field(
        default=True, description="several questions in one message, joined by ';:'"
    )
    split_read: bool = Field(
        default=True, description="a question can be sent now and its answer collected later"
    )
    echo: bool = Field(default=False, description="each message comes back as a line of its own")
    pause: float = Field(
        default=0.0, ge=0, le=10, description="seconds between two messages at least"
    )
    first_answer: float | None = Field(
        default=None, gt=0, description="seconds for the first answer, if longer than usual"
    )
    baud_rate: int | None = Field(default=None, gt=0, description="of a serial port")
    data_bits: Literal[5, 6, 7, 8] | None = None
    parity: Literal["none", "odd", "even", "mark", "space"] | None = None
    stop_bits: float | None = Field(default=None, ge=1, le=2, multiple_of=0.5)
    flow_control: Literal["none", "software", "hardware"] | None = None
    on_open: tuple[Message, ...] = Field(
        default=(), description="messages after the identity was asked, such as remote control"
    )
    on_close: tuple[Message, ...] = Field(
        default=(), description="messages before closing, such as control at the panel again"
    )

    def serial(self) -> dict[str, object]:
        """Return the serial port's parameters that are given."""
        keys = ("baud_rate", "data_bits", "parity", "stop_bits", "flow_control")
        return {key: value for key in keys if (value := getattr(self, key)) is not None}


class ErrorQueue(Strict):
    """The question for the oldest error and the answer's start when there is none."""

    ask: Message = "SYSTem:ERRor?"
    none: str = r"^[+-]?0+\s*(,|$)"


class Dialect(Strict):
    """How instruments of one trait spell one or more roles."""

    description: str
    roles: tuple[str, ...] = Field(min_length=1)
    identify: Message = "*IDN?"
    link: Link = Link()
    errors: ErrorQueue | None = None
    settings: dict[str, Setting] = {}
    questions: dict[str, Question] = {}
    actions: dict[str, Message] = {}

    @model_validator(mode="after")
    def _has_what_its_roles_need(self) -> Self:
        for role in self.roles:
            if role not in NEEDED:
                raise ValueError(f"unknown role {role!r}; known are {', '.join(NEEDED)}")
            there = (set(self.settings), set(self.questions), set(self.actions))
            for kind, needed, given in zip(
                ("settings", "questions", "actions"), NEEDED[role], there, strict=True
            ):
                if missing := needed - given:
                    raise ValueError(f"role {role!r} needs {kind}: {', '.join(sorted(missing))}")
        return self
