"""Writing whole: exact, on real files, devices and links."""

import errno
import os
from pathlib import Path

import pytest

from blinkspan.errors import UnwritableOutput
from blinkspan.publish.output import refuse_unwritable, write_whole


def test_what_was_there_is_replaced(tmp_path):
    place = tmp_path / "result.json"
    write_whole(place, b"old")
    write_whole(place, b"new")
    assert place.read_bytes() == b"new"
    assert list(tmp_path.iterdir()) == [place]


def test_the_usual_permissions_hold(tmp_path):
    (tmp_path / "plain").write_bytes(b"")
    write_whole(tmp_path / "whole", b"")
    assert (tmp_path / "whole").stat().st_mode == (tmp_path / "plain").stat().st_mode


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_link_stays_a_link_to_its_file(tmp_path):
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "link").symlink_to("real")
    write_whole(tmp_path / "link", b"new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_bytes() == b"new"


@pytest.mark.parametrize(
    "failure", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt()]
)
def test_a_failure_half_way_harms_nothing(tmp_path, monkeypatch, failure):
    place = tmp_path / "result.json"
    place.write_bytes(b"old")

    def fail(_: int) -> None:
        raise failure

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises((UnwritableOutput, KeyboardInterrupt)):
        write_whole(place, b"new" * 1000)
    assert place.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [place]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="only Linux has a full device")
def test_a_full_device_is_told():
    with pytest.raises(UnwritableOutput, match="full; free some space"):
        write_whole(Path("/dev/full"), b"x")


def test_a_missing_folder_is_told(tmp_path):
    with pytest.raises(UnwritableOutput, match=r"there is no folder .*; make it first"):
        write_whole(tmp_path / "missing" / "result.json", b"x")


def test_a_folder_is_no_file(tmp_path):
    with pytest.raises(UnwritableOutput, match="is a folder; give the name of a file"):
        write_whole(tmp_path, b"x")


def test_a_closed_folder_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "access", lambda *_: False)  # root may write anywhere
    with pytest.raises(UnwritableOutput, match="no permission"):
        refuse_unwritable(tmp_path / "result.json")
    assert list(tmp_path.iterdir()) == []


def test_a_name_too_long_is_told_in_one_line(tmp_path):
    with pytest.raises(UnwritableOutput, match="could not be written") as refusal:
        write_whole(tmp_path / ("n" * 300), b"x")
    assert "\n" not in str(refusal.value)
    assert list(tmp_path.iterdir()) == []
