"""Programs ended at random moments: nothing half written, left tuned, or running.

The long form: `.venv/bin/python -m tests.endings 200` (moments for each command and signal), or for some
commands alone: `... 200 play page`.
"""

import os
import pty
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
import tomllib
from contextlib import closing
from pathlib import Path

import mido

from tests.jack import running_server
from tests.keys.conftest import Synthesizer
from tests.keys.rig import ROOT
from tests.page.running import free_port
from tonegen.keys.plan import undo_of
from tonegen.keys.receivers import receiver

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
TUNE = ("--temperament", "vallotti", "--receiver", "osc-per-class")
# What is run, and how long it takes about as long as nobody ends it.
COMMANDS = {
    "send": (("keys", "send", *TUNE, "--to", "{to}"), 1.5),
    "osc": (("keys", "send", *TUNE, "--to", "{to}", "--osc-in", "127.0.0.1:0"), 1.5),
    "render": (("render", "{folder}/tone.wav", "--hz", "220", "--seconds", "600"), 1.5),
    "chart": (("chart", "--instrument", "e9-ten-string", "--out", "{folder}/card.png"), 3.0),
    "reset": (("keys", "reset", "--receiver", "osc-per-class", "--to", "{to}"), 0.7),
    "file": (("keys", "file", "{folder}/in.mid", "{folder}/out.mid", "--receiver", "mpe"), 1.5),
    "temper": (("temper", "e9-dance-band", "--save", "mine"), 2.5),
    "drop": (("drop", "{folder}/in.csv", "--instrument", "e9-ten-string", "--save", "mine"), 2.0),
    "ear": (("ear", "train", "abx", "--cents", "10", "--interval", "3:2", "--no-sound"), 2.0),
    "page": (("page", "--no-browser", "--port", "{port}"), 2.0),
}
# The same for those that need a sound server, which has their ports as well.
AT_THE_SOUND_SERVER = {
    "play": (("play", "--hz", "220"), 2.0),
    "through": (("keys", "through", "--virtual-in", "Keys", *TUNE, "--to", "{to}"), 2.0),
}
UNDO = [*undo_of(receiver("osc-per-class"))]
_PATIENCE_SECONDS = 30


def ended_at(name, how, seconds, folder, environment=os.environ):
    """What is wrong after a command was ended by a signal at a moment; "" when nothing is."""
    words, _ = (COMMANDS | AT_THE_SOUND_SERVER)[name]
    bring_what_is_read(folder)
    synthesizer = Synthesizer()
    places = {
        "to": synthesizer.where.removeprefix("osc "), "folder": str(folder), "port": str(free_port()),
    }  # fmt: skip
    start = [sys.executable, "-c", "from tonegen.cli import main; main()"]
    ours, terminal = pty.openpty() if name == "ear" else (None, None)  # which asks in nothing else
    program = subprocess.Popen(
        [*start, *(word.format(**places) for word in words)],
        cwd=ROOT, text=True,
        env={**environment, "XDG_CONFIG_HOME": str(folder / "own"), "PYTHONFAULTHANDLER": "1"},
        stdin=terminal, stdout=terminal or subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    time.sleep(seconds)
    program.send_signal(how)
    # Read to the end of what it prints: the guard has the same places, and ends last.
    try:
        _, complaints = program.communicate(timeout=_PATIENCE_SECONDS)
    except subprocess.TimeoutExpired:
        program.send_signal(signal.SIGABRT)  # it says where it stands, thread by thread
        _, complaints = program.communicate()
    for end in (ours, terminal):
        if end is not None:
            os.close(end)
    heard = []
    while not synthesizer.nothing_waits():
        heard += synthesizer.take(1)
    synthesizer.close()
    faults = []
    # Until the program begins it is Python's own start that is ended, with whatever that says.
    begun = program.returncode != -how and "Fatal Python error: init_" not in complaints
    if begun and program.returncode not in (0, 128 + how):
        faults.append(f"exit code {program.returncode}: {complaints}")
    if begun and "Traceback" in complaints:
        faults.append(complaints)
    faults += [f"{path} is left" for path in folder.rglob(".tonegen-*")]
    faults += [f"{path} is left" for path in folder.glob("own/tonegen/tuned/*")]
    faults += half_written(folder)
    # However few messages came (of the tuning perhaps none, where the guard had its undo already).
    if name != "reset" and heard and heard[-len(UNDO) :] != UNDO:
        faults.append(f"{len(heard)} messages: not put back")
    return "; ".join(faults)


def bring_what_is_read(folder):
    """A song of 3,000 notes, and readings of a meter."""
    song, track = mido.MidiFile(), mido.MidiTrack()
    song.tracks.append(track)
    for note in range(3000):
        track.append(mido.Message("note_on", note=40 + note % 40, velocity=64))
        track.append(mido.Message("note_off", note=40 + note % 40, time=120))
    song.save(folder / "in.mid")
    (folder / "in.csv").write_text("string,changes,cents\n8,,3.0\n8,A,0.8\n8,A+B,-0.9\n")


def half_written(folder):
    """What of the player's files cannot be read; other readers than the program's own look at them."""
    for path in folder.rglob("*"):
        try:
            if path.suffix == ".toml":
                assert tomllib.loads(path.read_text())
            elif path.suffix == ".mid":
                assert len(list(mido.MidiFile(path))) >= 6000
            elif path.suffix == ".sqlite":
                with closing(sqlite3.connect(path)) as history:
                    assert history.execute("pragma integrity_check").fetchall() == [("ok",)]
        except (ValueError, EOFError, AssertionError, sqlite3.DatabaseError) as error:
            yield f"{path} is half written: {error!r}"


def main():
    # A shell has it ignored by what runs behind itself.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    moments, draw, wrong = int(sys.argv[1]), random.Random(1), 0
    commands = COMMANDS | AT_THE_SOUND_SERVER
    commands = {name: commands[name] for name in sys.argv[2:] or commands}
    with tempfile.TemporaryDirectory() as servers, running_server(Path(servers)) as server:
        for name, (_, seconds) in commands.items():
            for how in SIGNALS:
                for _ in range(moments):
                    moment = draw.uniform(0, seconds)
                    with tempfile.TemporaryDirectory() as folder:
                        fault = ended_at(name, how, moment, Path(folder), server.environment)
                    wrong += bool(fault)
                    if fault:
                        print(f"{name} {how.name} after {moment:.3f} s: {fault}", flush=True)
    print(f"{moments * len(SIGNALS) * len(commands)} endings, {wrong} out of order")


if __name__ == "__main__":
    main()
