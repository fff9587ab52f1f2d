import os

import pytest

from sequencer.errors import UsageError
from sequencer.outputs.files import write_text


def test_a_new_file_is_written_whole(tmp_path):
    target = tmp_path / "report.html"
    write_text(target, "Ω\n")
    assert target.read_bytes() == "Ω\n".encode()
    assert list(tmp_path.iterdir()) == [target]


def test_an_existing_file_is_left_alone(tmp_path):
    target = tmp_path / "report.html"
    target.write_text("older")
    with pytest.raises(UsageError, match=r"report\.html.*nothing was overwritten"):
        write_text(target, "newer")
    assert target.read_text() == "older"
    assert list(tmp_path.iterdir()) == [target]


def test_an_existing_file_is_replaced_when_told(tmp_path):
    target = tmp_path / "report.html"
    target.write_text("older")
    write_text(target, "newer", overwrite=True)
    assert target.read_text() == "newer"
    assert list(tmp_path.iterdir()) == [target]


def test_a_link_to_nowhere_is_not_written_through(tmp_path):
    target = tmp_path / "report.html"
    target.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(UsageError):
        write_text(target, "text")
    assert not (tmp_path / "elsewhere").exists()


@pytest.mark.parametrize("name", ["missing/report.html", "file/report.html", "nul\0.html", "."])
def test_an_impossible_place_is_a_usage_error_that_names_it(tmp_path, name):
    (tmp_path / "file").write_text("not a folder")
    with pytest.raises(UsageError):
        write_text(tmp_path / name, "text")
    assert [one.name for one in tmp_path.iterdir()] == ["file"]


def test_without_links_the_name_is_claimed_first(tmp_path, monkeypatch):
    def no_links(*_):
        raise PermissionError(1, "links are not supported here")

    monkeypatch.setattr(os, "link", no_links)
    target = tmp_path / "report.html"
    write_text(target, "text")
    assert target.read_text() == "text"
    with pytest.raises(UsageError, match="nothing was overwritten"):
        write_text(target, "newer")
    assert list(tmp_path.iterdir()) == [target]


def test_a_full_disk_leaves_nothing_behind(tmp_path, monkeypatch):
    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(UsageError, match="No space left"):
        write_text(tmp_path / "report.html", "text")
    assert list(tmp_path.iterdir()) == []
