"""The example package of tests/example_driver, as if it were installed."""

import socket
import struct
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from drivers.connect import connect
from drivers.errors import DamagedAnswer, InstrumentError, NoAnswer, Unreachable
from drivers.resolved import driver_packages
from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec

EXAMPLE = Path(__file__).parents[1] / "example_driver"


class Voltmeter:
    """The far end: answers frames; `spoil` changes the sum, `mute` says nothing."""

    def __init__(self) -> None:
        self.spoil = 0
        self.mute = False
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            with client:
                while question := client.recv(1):
                    text = b"WORKSHOP,FRAMES,1,0"
                    answer = bytes([len(text)]) + text if question == b"\x01" else None
                    answer = answer or struct.pack(">d", 29.975)
                    spoil = self.spoil if question == b"\x02" else 0
                    if not (self.mute and question == b"\x02"):
                        client.sendall(answer + bytes([(sum(answer) + spoil) % 256]))

    def close(self) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()


@pytest.fixture
def voltmeter() -> Iterator[Voltmeter]:
    made = Voltmeter()
    yield made
    made.close()


@pytest.fixture(autouse=True)
def installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Put the example where Python finds packages, with the metadata that pip would write."""
    metadata = tmp_path / "example_driver-1.0.dist-info"
    metadata.mkdir()
    (metadata / "METADATA").write_text(
        "Metadata-Version: 2.1\nName: example-driver\nVersion: 1.0\n"
    )
    (metadata / "entry_points.txt").write_text(
        "[steadyrail.drivers]\nframes = example_driver:open_frames\nbroken = json:loads\n"
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.syspath_prepend(str(EXAMPLE))


def spec(address: str) -> BenchSpec:
    dialect = str(EXAMPLE / "frames.toml")
    return BenchSpec(
        instruments=(InstrumentSpec("meter", "voltmeter", dialect, address, timeout_s=0.3),),
        channels=(ChannelSpec("voltage.sense", "meter", "voltage", "V"),),
    )


def test_the_entry_point_in_its_project_file_is_the_one_used_here() -> None:
    assert 'frames = "example_driver:open_frames"' in (EXAMPLE / "pyproject.toml").read_text()


def test_an_instrument_that_speaks_frames_is_read_like_any_other(voltmeter: Voltmeter) -> None:
    bench = connect(
        spec(f"PYTHON::frames::127.0.0.1:{voltmeter.port}"), on_event=lambda _kind, _text: None
    )
    assert bench.identities() == {"meter": "WORKSHOP,FRAMES,1,0"}
    assert bench.read(("voltage.sense",))[0].value == 29.975
    bench.close()


def test_a_driver_s_package_and_version_are_known_for_the_record() -> None:
    assert driver_packages(spec("PYTHON::frames::10.0.0.1:1")) == {
        "driver frames": "example-driver 1.0"
    }
    assert driver_packages(spec("TCPIP0::10.0.0.1::1::SOCKET")) == {}


@pytest.mark.parametrize(
    ("spoil", "mute", "kind"), [(1, False, InstrumentError), (0, True, NoAnswer)]
)
def test_a_bad_frame_is_an_error_and_the_next_question_has_a_new_connection(
    voltmeter: Voltmeter, spoil: int, mute: bool, kind: type[InstrumentError]
) -> None:
    events: list[str] = []
    bench = connect(
        spec(f"PYTHON::frames::127.0.0.1:{voltmeter.port}"),
        on_event=lambda event, _text: events.append(event),
    )
    voltmeter.spoil, voltmeter.mute = spoil, mute
    with pytest.raises(kind):
        bench.read(("voltage.sense",))
    voltmeter.spoil, voltmeter.mute = 0, False
    assert bench.read(("voltage.sense",))[0].value == 29.975
    assert "reopened" in events
    bench.close()


@pytest.mark.parametrize(
    ("address", "message"),
    [
        ("PYTHON::nobody::x", "no installed package gives a driver 'nobody'.*broken, frames"),
        ("PYTHON::broken::{}", "could not be opened"),
    ],
)
def test_what_is_no_driver_is_told(address: str, message: str) -> None:
    with pytest.raises(Unreachable, match=message) as caught:
        connect(spec(address), on_event=lambda _kind, _text: None)
    assert not isinstance(caught.value, DamagedAnswer)
