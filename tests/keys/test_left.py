"""What a program tuned that was killed with its guard: written down, and put back by the next start."""

import json
import os
import re
import select
import signal
from pathlib import Path

import pytest

from tests.keys.rig import tune_again, tuned
from tests.page.running import RunningPage
from tonegen.keys import journal
from tonegen.keys.left import put_back_left
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_classes, scale_of_temperament
from tonegen.presets import temperament

MADE = plan(scale_of_classes("third", [0, 0, 0, 0, -13.7, 0, 0, 0, 0, 0, 0, 0]), receiver("osc-per-class"))
VALLOTTI = plan(scale_of_temperament(temperament("vallotti")), receiver("osc-per-class"))
SAID = r"\"127\.0\.0\.1:\d+\" was left tuned when tonegen was killed; it is put back now\."


def send(synthesizer):
    """The command that tunes it."""
    to = synthesizer.where.removeprefix("osc ")
    return ("keys", "send", "--temperament", "vallotti", "--receiver", "osc-per-class", "--to", to)


def family(pid):
    """A process and all that it started, and they in turn."""
    threads = Path(f"/proc/{pid}/task").glob("*/children")
    started = [int(child) for thread in threads for child in thread.read_text().split()]
    return [pid, *(one for child in started for one in family(child))]


def killed_at_once(process):
    """Killed with all that it started, the guard among them, before any of them can do a thing about it."""
    together = family(process.pid)
    ends = [os.pidfd_open(pid) for pid in together]
    for how in (signal.SIGSTOP, signal.SIGKILL):
        for end in ends:
            signal.pidfd_send_signal(end, how)
    for end in ends:
        assert select.select([end], [], [], 20)[0], "one that has not ended yet may hold what it held"
        os.close(end)
    process.wait(20)
    return len(together)


def left_by(programs, synthesizer):
    program = programs.start(*send(synthesizer))
    assert synthesizer.take(12) == list(VALLOTTI.messages)
    program.stderr.readline()  # it says that it is tuned
    assert killed_at_once(program) == 2
    assert synthesizer.nothing_waits()


def test_a_reset_without_options_puts_back_what_was_left(programs, synthesizer, tonegen):
    left_by(programs, synthesizer)
    ended = tonegen("tonegen keys reset")

    assert ended.code == 0
    assert re.fullmatch(f"{SAID}\n", ended.err)
    assert synthesizer.take(12) == list(VALLOTTI.undo)
    assert tonegen("tonegen keys reset").err == "Nothing was left tuned.\n"


@pytest.mark.parametrize(
    "line", ["tonegen keys ports", "tonegen keys reset --to :9 --receiver osc-per-class"]
)
def test_the_next_command_that_uses_the_keys_puts_it_back(programs, synthesizer, tonegen, line):
    left_by(programs, synthesizer)
    ended = tonegen(line)

    assert re.match(SAID, ended.err)
    assert synthesizer.take(12) == list(VALLOTTI.undo)


def test_tuning_again_begins_with_putting_back(programs, synthesizer):
    left_by(programs, synthesizer)
    program = programs.start(*send(synthesizer), "--seconds", "0.1")

    assert re.match(SAID, program.stderr.readline())
    assert synthesizer.take(36) == [*VALLOTTI.undo, *VALLOTTI.messages, *VALLOTTI.undo]
    assert program.wait(20) == 0
    assert journal.left() == ()


def test_the_page_puts_back_what_a_page_left(synthesizer, own_folder):
    with RunningPage(own_folder.parent) as running, running.page() as page:
        page.ask("receiver", name="osc-per-class", policy="mean", follow=False)
        page.ask("send", where=synthesizer.where)
        page.shown("keys", lambda keys: keys["status"] == "sent")
        synthesizer.take(12)
        assert killed_at_once(running.process) == 3
    with RunningPage(own_folder.parent) as running:
        assert re.match(SAID, running.process.stderr.readline())
        assert synthesizer.take(12) == list(MADE.undo)


def test_it_is_written_down_whole_before_the_first_byte_goes(synthesizer):
    class Door(list):
        seconds_per_byte = 0.0

        def send(self, message):
            [path] = journal.left()
            self.append(journal.read(path))

    rig = tuned(synthesizer.where, MADE)
    at = rig.doors[synthesizer.where]
    at.door, door = Door(), at.door
    tune_again(rig, MADE)
    heard, at.door = at.door, door
    rig.close()

    assert heard == [journal.KeptUndo(synthesizer.where, MADE.undo, MADE.receiver.sysex_seconds)] * 12


def test_what_a_program_that_runs_has_tuned_is_its_own(synthesizer, tonegen):
    rig = tuned(synthesizer.where, MADE)
    synthesizer.take(12)

    assert tonegen("tonegen keys reset").code == 0
    assert synthesizer.nothing_waits()
    rig.guard._process.kill()
    rig.guard._process.wait(20)
    assert put_back_left(print), "nor while it looks for another guard"
    assert synthesizer.nothing_waits()

    rig.close()
    assert synthesizer.take(12) == list(MADE.undo)
    assert journal.left() == ()


def test_what_stays_tuned_because_the_player_said_so_is_not_left(synthesizer):
    rig = tuned(synthesizer.where, MADE)
    synthesizer.take(12)
    rig.keep()
    rig.close()

    assert journal.left() == ()
    assert synthesizer.nothing_waits()


def write(own_folder, **changed):
    """A file as a program leaves it."""
    folder = own_folder / "tuned"
    folder.mkdir(parents=True)
    written = folder / "0123456789abcdef.json"
    written.write_text(
        json.dumps({"where": "midi Stage Piano", "undo": ["b07800"], "sysex_seconds": 0} | changed)
    )
    return written


def test_a_receiver_that_is_away_is_put_back_later(own_folder, tonegen):
    written = write(own_folder)
    ended = tonegen("tonegen keys reset")

    assert (ended.code, ended.out) == (3, "")
    assert '"Stage Piano" was left tuned when tonegen was killed, and is not connected' in ended.err
    assert written.exists()


def test_of_a_virtual_port_the_player_is_told(own_folder, tonegen):
    written = write(own_folder, where="virtual Keys Out")
    ended = tonegen("tonegen keys reset")

    assert (ended.code, ended.err.count("\n")) == (0, 1)
    assert 'What was connected to "Keys Out" may still be tuned' in ended.err
    assert not written.exists()


@pytest.mark.parametrize("changed", [{"where": 3, "undo": ["x"]}, {"undo": None}, {"sysex_seconds": []}])
def test_a_file_that_says_nothing_is_removed(own_folder, tonegen, changed):
    written = write(own_folder, **changed)

    assert tonegen("tonegen keys reset").code == 0
    assert not written.exists()


def test_a_disk_that_takes_nothing_is_no_reason_not_to_play(synthesizer, own_folder):
    own_folder.parent.mkdir()
    own_folder.write_text("not a folder")
    tuned(synthesizer.where, MADE).close()

    assert synthesizer.take(24) == [*MADE.messages, *MADE.undo]


def test_a_receiver_needs_its_name(tonegen):
    assert "--receiver" in tonegen.refused("tonegen keys reset --out nowhere")
