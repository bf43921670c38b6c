"""Where the small film of a take lives: exact, in memory and in a file without a name."""

import errno
import os
import tempfile

import numpy as np
import pytest

from blinkspan.errors import UnwritableOutput
from blinkspan.jobs.film_room import FilmFile, film_room


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Make large files go to a folder of the test."""
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr(tempfile, "tempdir", None)
    return tmp_path


def test_a_short_series_is_a_plain_array_of_zeros(folder):
    with film_room(most_in_memory=24) as allocate:
        light = allocate((3, 2, 2))
    assert type(light) is np.ndarray
    assert (light.shape, light.dtype, light.any()) == ((3, 2, 2), np.uint16, False)


def test_a_long_series_lies_in_a_file_that_no_one_finds(folder):
    with film_room(most_in_memory=23) as allocate:
        light = allocate((3, 2, 2))
        assert isinstance(light, FilmFile)
        if os.name != "nt":
            assert list(folder.iterdir()) == []
    assert list(folder.iterdir()) == []
    with pytest.raises(ValueError, match="closed"):
        light[:]


def test_a_file_is_read_and_written_as_an_array_is(folder):
    pictures = np.random.default_rng(3).integers(0, 65536, (9, 2, 3)).astype(np.uint16)
    with film_room(most_in_memory=0) as allocate:
        film, array = allocate((9, 2, 3)), np.zeros((9, 2, 3), np.uint16)
        for kept in (film, array):
            kept[4:9] = pictures[4:9]
            kept[0:2] = pictures[0:2]
        assert film.shape == array.shape
        for part in (slice(None), slice(3, 6), slice(-2, None), slice(7, 40), slice(5, 5)):
            assert film[part].dtype == np.uint16
            assert np.array_equal(film[part], array[part])


@pytest.mark.skipif(not hasattr(os, "posix_fallocate"), reason="no room is taken at once there")
def test_a_full_disk_is_told_before_anything_is_written(folder, monkeypatch):
    def full(*_args):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "posix_fallocate", full)
    with (
        film_room(most_in_memory=0) as allocate,
        pytest.raises(UnwritableOutput, match=r"30 MB .*no space left on device\); free some"),
    ):
        allocate((2000, 7865))
    assert list(folder.iterdir()) == []


def test_room_is_taken_where_the_system_cannot_take_it_at_once(folder, monkeypatch):
    monkeypatch.delattr(os, "posix_fallocate", raising=False)
    with film_room(most_in_memory=0) as allocate:
        light = allocate((9, 2**20))  # 18 MB: more than is written at once
        light[8:9] = np.full((1, 2**20), 3, np.uint16)
        assert (int(light[:].sum()), light.shape) == (3 * 2**20, (9, 2**20))
