"""Small pictures in a file beside the database; exact."""

import os

import pytest

from blinkspan.errors import UnwritableOutput
from blinkspan.library.preview_cache import PreviewCache, preview_place, trim_previews

SHA256 = "ab" * 32
OTHER = "cd" * 32


def filled(folder, sha256=SHA256, size=10):
    kept = PreviewCache.of(folder, sha256)
    kept.put((frame, bytes([frame]) * size) for frame in (3, 4, 6))
    kept.close()
    return preview_place(folder, sha256)


def test_what_was_put_is_there_for_the_next_program(tmp_path):
    filled(tmp_path)
    kept = PreviewCache.of(tmp_path, SHA256)
    assert [kept.get(frame) for frame in (3, 5)] == [b"\x03" * 10, None]
    assert [kept.missing(*stretch) for stretch in ((3, 5), (3, 7), (5, 6))] == [False, True, True]
    kept.put([(5, b"new")])
    assert kept.missing(3, 7) is False
    kept.close()


def test_two_programs_fill_one_file(tmp_path):
    one, two = PreviewCache.of(tmp_path, SHA256), PreviewCache.of(tmp_path, SHA256)
    one.put([(1, b"one")])
    two.put([(1, b"two"), (2, b"two")])
    assert [one.get(1), one.get(2)] == [b"two", b"two"]
    one.close()
    two.close()


@pytest.mark.parametrize("damage", [b"no database", b""])
def test_a_damaged_file_is_begun_anew(tmp_path, damage):
    place = filled(tmp_path)
    place.write_bytes(damage * 1000)
    kept = PreviewCache.of(tmp_path, SHA256)
    assert kept.get(3) is None
    kept.put([(3, b"again")])
    assert kept.get(3) == b"again"
    kept.close()


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "cache").write_text("a file where a folder should be")
    with pytest.raises(UnwritableOutput, match="small pictures cannot be kept"):
        PreviewCache.of(tmp_path, SHA256)


def test_the_file_looked_at_longest_ago_goes_first(tmp_path):
    old, new = filled(tmp_path, SHA256, 9000), filled(tmp_path, OTHER, 9000)
    os.utime(old, (1000, 1000))
    both = old.stat().st_size + new.stat().st_size
    trim_previews(tmp_path, both, new)
    assert old.exists()
    trim_previews(tmp_path, both - 1, new)
    assert (old.exists(), new.exists()) == (False, True)
    trim_previews(tmp_path, 0, new)  # what is about to be filled stays
    assert new.exists()
