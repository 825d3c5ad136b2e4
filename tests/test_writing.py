"""Files are written whole or not at all, whatever the disk does."""

import fcntl
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest

from tonegen import writing
from tonegen.errors import CannotWrite
from tonegen.writing import remove_left_over, written_whole


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

    with pytest.raises(CannotWrite, match=r"cannot be written: .*; nothing was saved") as refusal:
        write()

    assert "\n" not in str(refusal.value)
    assert names_in(tmp_path) == ["file", "folder"]


def test_a_disk_that_is_full(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text("mine")
    code = """
import resource, signal, sys
from pathlib import Path
from tonegen import writing
from tonegen.errors import CannotWrite
from tonegen.writing import remove_left_over, written_whole
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

    assert said == f"{path}: cannot be written: file too large; nothing was saved; choose another place\n"
    assert (path.read_text(), names_in(tmp_path)) == ("mine", ["a.txt"])


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o644, 0o444])
def test_who_may_read_a_file_stays_as_it_is(tmp_path, mode):
    path = tmp_path / "a.txt"
    path.write_text("mine")
    path.chmod(mode)

    with written_whole(path, force=True) as beside:
        beside.write_text("new")
        assert beside.stat().st_mode & 0o177 == 0  # what is private is so from the first byte

    assert (path.read_text(), path.stat().st_mode & 0o777) == ("new", mode)


WRITES_UNTIL_KILLED = """
import sys
from pathlib import Path
from tonegen.writing import remove_left_over, written_whole
with written_whole(Path(sys.argv[1]), force=True) as beside:
    beside.write_text("half")
    print(beside.name, flush=True)
    sys.stdin.read()
"""


@pytest.fixture
def writer(tmp_path):
    """A program that writes in a folder, and the name under which it does."""
    program = subprocess.Popen(
        [sys.executable, "-c", WRITES_UNTIL_KILLED, tmp_path / "long.wav"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    with program:
        yield program, program.stdout.readline().strip()
        program.kill()


def test_what_a_killed_program_left_is_removed_by_who_writes_there_next(tmp_path, writer):
    program, half = writer
    assert half in names_in(tmp_path)
    program.kill()
    program.wait()

    with written_whole(tmp_path / "a.txt", force=False) as beside:
        assert names_in(tmp_path) == [beside.name]
        beside.write_text("new")
    assert names_in(tmp_path) == ["a.txt"]


def test_what_another_program_is_writing_is_left_to_it(tmp_path, writer):
    program, half = writer
    (tmp_path / ".tonegen-mine.part.txt").symlink_to(tmp_path / half)
    (tmp_path / ".tonegen-folder.part").mkdir()

    with written_whole(tmp_path / "a.txt", force=False) as beside:
        beside.write_text("new")
    assert half in names_in(tmp_path)
    program.stdin.close()
    program.wait()
    assert (tmp_path / "long.wav").read_text() == "half"
    assert names_in(tmp_path) == [".tonegen-folder.part", ".tonegen-mine.part.txt", "a.txt", "long.wav"]


def test_a_name_that_is_another_files_by_now_is_not_taken_for_left_over(tmp_path, monkeypatch):
    """Who found the file before saw what is gone: the new one has a writer."""
    left, lock = tmp_path / ".tonegen-mine.part.txt", fcntl.flock
    left.write_text("gone")

    def locked_too_late(descriptor, how):
        left.unlink()
        left.write_text("new")
        lock(descriptor, how)

    monkeypatch.setattr(writing.fcntl, "flock", locked_too_late)
    remove_left_over(tmp_path)
    assert left.read_text() == "new"


def test_files_are_written_side_by_side_in_one_folder(tmp_path):
    """Each looks for what is left over while the others make their files: none is taken from its writer."""

    def write(number):
        for turn in range(40):
            with written_whole(tmp_path / f"{number}.txt", force=True) as beside:
                beside.write_text(f"{number}, turn {turn}")

    with ThreadPoolExecutor(6) as threads:
        list(threads.map(write, range(6)))
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {
        f"{number}.txt": f"{number}, turn 39" for number in range(6)
    }
