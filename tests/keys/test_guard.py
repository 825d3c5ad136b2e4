"""The guard: it puts the rig back however the program ends, and is replaced when it is killed itself."""

import signal
import subprocess
import threading
from types import SimpleNamespace

import pytest

from tests.keys.rig import tuned
from tonegen.errors import NoSuchDevice
from tonegen.keys import guard, journal, live, side_process
from tonegen.keys.guard import Guard
from tonegen.keys.journal import KeptUndo
from tonegen.keys.live import Presence, TunedRig
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_classes

MADE = plan(scale_of_classes("third", [0, 0, 0, 0, -13.7, 0, 0, 0, 0, 0, 0, 0]), receiver("osc-per-class"))


def framed(letter, content, place=0):
    return letter + bytes((place,)) + len(content).to_bytes(4, "big") + content


def test_a_program_that_dies_in_the_middle_of_a_word_is_put_back_all_the_same(synthesizer):
    undo = KeptUndo(synthesizer.where, (b"/a\0\0,\0\0\0",), 0.0)
    words = framed(b"T", synthesizer.where.encode()) + framed(b"U", undo.as_json(journal=""))
    command = side_process.command("tonegen.keys.guard", "stand_guard")
    ended = subprocess.run(command, input=words + b"U\0\0\0\1\0{", capture_output=True, timeout=60)

    assert (ended.returncode, ended.stdout, ended.stderr) == (0, b"ready\n", b"")
    assert synthesizer.take(1) == [b"/a\0\0,\0\0\0"]


def test_one_guard_puts_back_several_receivers_and_one_that_is_gone_holds_up_none(synthesizer, capfd):
    watch = Guard()
    first, second = watch.door(synthesizer.where), watch.door(synthesizer.where)
    gone = watch.door("osc 127.0.0.1:9")
    for place, message in ((first, b"/a\0\0,\0\0\0"), (second, b"/b\0\0,\0\0\0"), (gone, b"/c\0\0,\0\0\0")):
        place.hold([message])
    first.hold([b"/d\0\0,\0\0\0"])
    with pytest.raises(NoSuchDevice, match="nowhere"):
        watch.door("osc nowhere.invalid:9000")
    assert len(journal.left()) == 3
    watch.close()

    assert sorted(synthesizer.take(2)) == [b"/b\0\0,\0\0\0", b"/d\0\0,\0\0\0"]
    assert journal.left() == ()


def test_a_guard_of_several_that_is_killed_holds_all_of_them_again(synthesizer):
    watch = Guard()
    doors = [watch.door(synthesizer.where) for _ in range(3)]
    for number, door in enumerate(doors):
        door.hold([f"/{number}\0\0,\0\0\0".encode()])
    doors[1].keep()
    watch._process.kill()
    watch._process.wait(20)
    watch.stand_again()
    assert [door.stood_again() for door in doors] == [True] * 3
    assert [door.stood_again() for door in doors] == [False] * 3
    watch.close()

    assert sorted(synthesizer.take(2)) == [b"/0\0\0,\0\0\0", b"/2\0\0,\0\0\0"]
    assert synthesizer.nothing_waits()


class LateDoor:
    """A receiver's port, which hears once the program's own end of the connection is gone."""

    seconds_per_byte = 0.0

    def __init__(self, sources, own_name):
        self.sources, self.own_name = sources, own_name
        self.heard, self.closed, self.looks = [], False, []

    def send(self, message):
        if self.own_name not in self.sources.names():
            self.heard.append(message)

    def is_there(self, thorough=False):
        self.looks.append(thorough)
        return True

    def close(self):
        self.closed = True


class LeavingSources:
    """A MIDI system that takes one of a killed program's ends out after the other, with each third look."""

    def __init__(self, names):
        self._names = names
        self.looks = 0
        self.lock = threading.Lock()

    def names(self):
        with self.lock:
            self.looks += 1
            return self._names[min(self.looks // 3, len(self._names)) :]


def test_each_receiver_is_put_back_once_it_hears_again_and_nothing_is_opened_before(monkeypatch):
    """Most of them wait for others; one that nobody was connected to goes at once."""
    monkeypatch.setattr(guard, "_LOOK_SECONDS", 0.0)
    sources = LeavingSources(["tonegen-07:c", "tonegen-03:a", "tonegen-05:b"])
    posts = []
    for end in ("tonegen-03:a", "tonegen-05:b", "tonegen-07:c", "tonegen-09:d"):
        post = guard._HeldDoor(f"midi {end}", end[-2:], LateDoor(sources, end))
        post.undo = KeptUndo(post.where, (b"\xe0\0\x40", b"\xe1\0\x40"), 0.0)
        posts.append(post)
    guard._put_back(posts, sources)

    for post in posts:
        assert post.door.heard == 2 * list(post.undo.messages), "once more when all are out"
        assert post.there
    assert [post.door.looks for post in posts] == [[False, False, True], *[[False] * 3] * 3]


def killed(rig):
    """The guard of a rig, killed from outside."""
    rig.guard._process.kill()
    rig.guard._process.wait(20)


def test_a_guard_that_is_killed_is_replaced(synthesizer):
    rig = tuned(synthesizer.where, MADE)
    first = rig.guard._process.pid
    assert synthesizer.take(12) == list(MADE.messages)

    killed(rig)
    assert [*rig.look().values()] == [Presence.THERE]
    assert rig.guard._process.pid != first
    rig.close()

    assert synthesizer.take(12) == list(MADE.undo)


def test_a_guard_killed_just_before_the_end_is_replaced_too(synthesizer):
    rig = tuned(synthesizer.where, MADE)
    synthesizer.take(12)
    killed(rig)
    rig.close()

    assert synthesizer.take(12) == list(MADE.undo)


def test_what_was_to_be_kept_stays_tuned_though_the_guard_was_killed(synthesizer):
    rig = tuned(synthesizer.where, MADE)
    synthesizer.take(12)
    rig.keep()
    killed(rig)
    rig.close()

    assert synthesizer.nothing_waits()


def test_files_that_lie_about_are_not_taken_for_modules(synthesizer, tmp_path, monkeypatch):
    """The player is in a folder with a file json.py of his own."""
    (tmp_path / "json.py").write_text("raise SystemExit('not this one')\n")
    monkeypatch.chdir(tmp_path)

    tuned(synthesizer.where, MADE).close()

    assert synthesizer.take(24) == [*MADE.messages, *MADE.undo]


def test_a_receiver_gets_the_time_that_it_needs(monkeypatch):
    """31250 baud, ten bits to a byte: 0.32 ms each (MIDI 1.0); and what the receiver's file asks for."""
    waited = []
    monkeypatch.setattr(guard.time, "sleep", waited.append)

    class Cable:
        seconds_per_byte = 0.00032

        def send(self, message):
            waited.append(message)

    note, dump = b"\x90\x3c\x40", b"\xf0" + bytes(406) + b"\xf7"
    guard.send_all(Cable(), (note, dump), 0.2)

    assert waited == [note, pytest.approx(0.00096), dump, pytest.approx(0.13056 + 0.2)]


@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP], ids=lambda one: one.name)
def test_a_guard_that_is_interrupted_while_it_starts_says_nothing(capfd, ending):
    starting = side_process.start("tonegen.keys.guard", "stand_guard")
    starting.send_signal(ending)
    side_process.let_go(starting, 20)

    assert (starting.returncode, capfd.readouterr().err) == (0, "")


def test_a_program_that_ends_while_its_guard_starts_is_not_missed_aloud(synthesizer, capfd):
    starting = side_process.start("tonegen.keys.guard", "stand_guard")
    starting.stdin.write(framed(b"T", synthesizer.where.encode()))
    starting.stdout.close()
    starting.stdin.close()

    assert (starting.wait(20), capfd.readouterr().err) == (0, "")
    assert synthesizer.nothing_waits()


def test_who_is_told_to_end_while_receivers_are_tuned_sends_nothing_behind_the_undo(monkeypatch):
    """The guard sends the undo at once: nothing that is still to be sent may come after it."""
    rig, begun, sent, pause = TunedRig(), threading.Event(), [], threading.Event()

    class Receiver:
        seconds_per_byte = 0.0

        def send(self, message):
            sent.append(message)
            begun.set()
            pause.wait(0.01)  # as a cable takes its time

    class Tuning(threading.Thread):
        told = False

        def join(self, timeout=None):
            if not self.told:  # as the program is told to end while it waits
                self.told = True
                assert begun.wait(20)
                raise KeyboardInterrupt
            super().join(timeout)

    monkeypatch.setattr(live, "Thread", Tuning)
    rig.doors["midi Piano"] = SimpleNamespace(door=Receiver(), close=lambda: None)
    threads = threading.active_count()
    with pytest.raises(KeyboardInterrupt):
        rig.tune({"midi Piano": [(2000 * [b"\xe0\0\x40"], 0.0)]})
    assert threading.active_count() == threads
    rig.close()
    assert len(sent) < 2000
