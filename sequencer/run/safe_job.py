"""All that making a bench safe needs, as plain data: for a guardian, a lock file, a hurried person.

Nothing of the documents' machinery is loaded for it, so that it is quick.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, Self

from drivers.connect import connect_reachable
from drivers.errors import InstrumentError
from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec
from sequencer.run.make_safe import make_safe
from sequencer.run.safe_report import SafeReport, SafeStep

PATIENCE_S = 2.0
"""An instrument that doesn't answer within two seconds holds nothing else up for longer."""

NEVER_READ = "/dev/null"
"""Whoever makes safe in an emergency does not read keys: readings prove what was done."""


@dataclass(frozen=True, slots=True)
class SafeJob:
    """A bench and the order in which it is made safe; roles as `make_safe` takes them.

    `moved_channels` are those of meters whose leads a person moves: whoever comes to a bench that
    another process has left does not know where they are, or whether they are anywhere.
    """

    bench: str
    record: str
    spec: BenchSpec
    order: tuple[str, ...]
    current_channels: tuple[str, ...]
    voltage_channels: tuple[str, ...]
    relays: tuple[tuple[str, str], ...] = ()
    moved_channels: tuple[str, ...] = ()

    def as_json(self) -> str:
        """Return it as one line of JSON."""
        return json.dumps(asdict(self), separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Return the job that `text` holds; raises ValueError, KeyError or TypeError if none."""
        data: dict[str, Any] = json.loads(text)  # as written by `as_json`
        spec = data["spec"]
        return cls(
            bench=data["bench"],
            record=data["record"],
            spec=BenchSpec(
                instruments=tuple(InstrumentSpec(**i) for i in spec["instruments"]),
                channels=tuple(ChannelSpec(**c) for c in spec["channels"]),
                operator=spec["operator"],
                options=spec["options"],
                typed=spec["typed"],
            ),
            order=tuple(data["order"]),
            current_channels=tuple(data["current_channels"]),
            voltage_channels=tuple(data["voltage_channels"]),
            moved_channels=tuple(data["moved_channels"]),
            relays=tuple((switch, relay) for switch, relay in data["relays"]),
        )

    def knowing(self, identities: Mapping[str, str]) -> Self:
        """Return a job that talks to nobody who answers otherwise than these to *IDN?."""
        known = tuple(
            replace(one, identity=identities.get(one.name) or one.identity)
            for one in self.spec.instruments
        )
        return replace(self, spec=replace(self.spec, instruments=known))

    @property
    def addresses(self) -> tuple[str, ...]:
        """The addresses of all instruments, sorted."""
        return tuple(sorted(i.address for i in self.spec.instruments))


def carry_out(
    job: SafeJob,
    *,
    aloud: Callable[[str], None],
    on_event: Callable[[str, str], None] = lambda _kind, _text: None,
    prompt: Any,  # a text stream
    on_wait: Callable[[], None] = lambda: None,
) -> SafeReport:
    """Open what can be reached of a bench, make it safe, close it again; `on_wait` as `make_safe`.

    What switches energy off is told first, over a link of its own, before the meters are opened:
    a meter that hangs must not keep the load on. Never raises for an instrument.
    """
    failures: dict[str, str] = {}
    with Path(NEVER_READ).open(encoding="utf-8") as keys:
        try:
            first = _only(job.spec, {"load", "supply"} | _more_of(job))
            if first.instruments:
                bench, _ = connect_reachable(first, on_event=on_event, prompt=prompt, answers=keys)
                try:
                    _at_once(bench.load.off if bench.load else None)
                    for name, relay in job.relays:
                        if name in bench.switches:
                            _at_once(partial(bench.switches[name].switch, relay, closed=False))
                    _at_once(bench.supply.off if bench.supply else None)
                    _at_once(bench.line_source.off if bench.line_source else None)
                finally:
                    bench.close()
            spec = _impatient(job.spec)
            bench, failed = connect_reachable(spec, on_event=on_event, prompt=prompt, answers=keys)
            failures = {error.instrument: error.found for error in failed}
            try:
                report = make_safe(
                    bench,
                    job.order,
                    current_channels=job.current_channels,
                    voltage_channels=tuple(
                        c for c in job.voltage_channels if c not in job.moved_channels
                    ),
                    relays=job.relays,
                    on_wait=on_wait,
                    aloud=aloud,
                )
            finally:
                bench.close()
        except InstrumentError as error:
            report = SafeReport(())
            failures[error.instrument] = error.found
    reached = bool({i.name for i in job.spec.instruments} - failures.keys())
    lost = _not_reached(failures)
    if report.verified:
        return report
    return replace(report, steps=(*report.steps, *lost), reached=reached)


def _not_reached(failures: Mapping[str, str]) -> tuple[SafeStep, ...]:
    """Return one step for all instruments that failed alike, so that a hurried person reads on."""
    alike: dict[str, list[str]] = {}
    for name, found in failures.items():
        alike.setdefault(found, []).append(name)
    return tuple(
        SafeStep(f"not reached, {found}", verified=False, detail=", ".join(names))
        for found, names in alike.items()
    )


def _more_of(job: SafeJob) -> set[str]:
    return ({"line_source"} if "line" in job.order else set()) | (
        {"switch"} if job.relays else set()
    )


def _at_once(off: Callable[[], bool] | None) -> None:
    if off is not None:
        try:
            off()
        except InstrumentError:
            return  # it is told again, with retries and proof, in a moment


def _only(spec: BenchSpec, roles: set[str]) -> BenchSpec:
    return replace(
        _impatient(spec),
        instruments=tuple(i for i in _impatient(spec).instruments if i.role in roles),
        channels=(),
        operator="none",
    )


def _impatient(spec: BenchSpec) -> BenchSpec:
    return replace(
        spec,
        instruments=tuple(
            replace(i, timeout_s=min(i.timeout_s, PATIENCE_S)) for i in spec.instruments
        ),
    )


def roles_in_order(names: tuple[str, ...], roles: Mapping[str, str]) -> tuple[str, ...]:
    """Return the roles that the names of a make-safe order stand for."""
    return tuple(roles.get(name, name) for name in names)
