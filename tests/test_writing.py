"""Files are written whole or not at all, whatever the disk does."""

import os
import subprocess
import sys

import pytest

from tonegen.errors import CannotWrite
from tonegen.writing import written_whole


def names_in(folder):
    return sorted(path.name for path in folder.iterdir())


def test_what_is_there_stays_until_the_new_is_whole(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text("mine")

    def interrupted():
        with written_whole(path, force=True) as beside:
            beside.write_text("half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert (path.read_text(), names_in(tmp_path)) == ("mine", ["a.txt"])

    with written_whole(path, force=True) as beside:
        beside.write_text("new")
        assert path.read_text() == "mine"
    assert (path.read_text(), names_in(tmp_path)) == ("new", ["a.txt"])


def test_a_link_stays_a_link(tmp_path):
    """A player who keeps his presets elsewhere and links to them finds them changed there."""
    kept = tmp_path / "kept.txt"
    kept.write_text("old")
    link = tmp_path / "link.txt"
    link.symlink_to(kept)

    with written_whole(link, force=True) as beside:
        beside.write_text("new")

    assert link.is_symlink()
    assert kept.read_text() == "new"


def test_the_longest_name_that_a_disk_takes(tmp_path):
    path = tmp_path / f"{'n' * 251}.txt"

    with written_whole(path, force=False) as beside:
        beside.write_text("new")

    assert names_in(tmp_path) == [path.name]


def test_readable_by_whom_the_player_lets_read(tmp_path):
    before = os.umask(0o027)
    try:
        with written_whole(tmp_path / "a.txt", force=False) as beside:
            beside.write_text("new")
    finally:
        os.umask(before)
    assert (tmp_path / "a.txt").stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize("place", ["no/such/a.txt", "file/a.txt", "folder", f"{'n' * 300}.txt"])
def test_a_place_that_cannot_be(tmp_path, place):
    (tmp_path / "file").write_text("mine")
    (tmp_path / "folder").mkdir()

    def write():
        with written_whole(tmp_path / place, force=True) as beside:
            beside.write_text("new")

    with pytest.raises(CannotWrite, match=r"cannot be written: .*; nothing was kept") as refusal:
        write()

    assert "\n" not in str(refusal.value)
    assert names_in(tmp_path) == ["file", "folder"]


def test_a_disk_that_is_full(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text("mine")
    code = """
import resource, signal, sys
from pathlib import Path
from tonegen.errors import CannotWrite
from tonegen.writing import written_whole
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
try:
    with written_whole(Path(sys.argv[1]), force=True) as beside:
        beside.write_text("x" * 5000)
except CannotWrite as refusal:
    print(refusal)
"""
    said = subprocess.run(
        [sys.executable, "-B", "-c", code, path], capture_output=True, text=True, check=True
    ).stdout

    assert said == f"{path}: cannot be written: file too large; nothing was kept, choose another place\n"
    assert (path.read_text(), names_in(tmp_path)) == ("mine", ["a.txt"])
