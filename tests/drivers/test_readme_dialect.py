"""The dialect and the link that README prints are valid as they stand."""

import re
import tomllib
from pathlib import Path

from drivers.dialect_files import adapted, load_dialect
from sequencer.documents.bench import Instrument

README = (Path(__file__).parents[2] / "README.md").read_text()


def block_with(text: str) -> str:
    [found] = [b for b in re.findall(r"```toml\n(.*?)```", README, re.DOTALL) if text in b]
    return found


def test_the_printed_dialect_and_link_are_valid(tmp_path: Path) -> None:
    path = tmp_path / "my-meter.toml"
    path.write_text(block_with("without ="))
    dialect = load_dialect(str(path), "meter", "address")
    assert dialect.errors is None
    assert dialect.questions["voltage"].suffixes["mV"] == 1e-3
    table = tomllib.loads(block_with("baud_rate"))["instruments"]["meter"]
    link = Instrument.model_validate(table).link.given()
    assert adapted(dialect, link).link.serial() == {"baud_rate": 19200}
    assert adapted(dialect, link).link.pause == 0.02
