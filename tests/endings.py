"""Programs ended at random moments: nothing half written, left tuned, or running.

The long form: `.venv/bin/python -m tests.endings 200` (moments for each command and signal).
"""

import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.keys.conftest import Synthesizer
from tests.keys.rig import ROOT

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
TUNE = ("--temperament", "vallotti", "--receiver", "osc-per-class")
# What is run, and how long it takes about as long as nobody ends it.
COMMANDS = {
    "send": (("keys", "send", *TUNE, "--to", "{to}"), 1.5),
    "osc": (("keys", "osc", *TUNE, "--to", "{to}", "--listen", "127.0.0.1:0"), 1.5),
    "render": (("render", "{folder}/tone.wav", "--hz", "220", "--seconds", "600"), 1.5),
    "chart": (("chart", "--instrument", "e9-ten-string", "--out", "{folder}/card.png"), 3.0),
    "reset": (("keys", "reset", "--receiver", "osc-per-class", "--to", "{to}"), 0.7),
}
_PATIENCE_SECONDS = 30


def ended_at(name, how, seconds, folder):
    """What is wrong after a command was ended by a signal at a moment; "" when nothing is."""
    words, _ = COMMANDS[name]
    synthesizer = Synthesizer()
    places = {"to": synthesizer.where.removeprefix("osc "), "folder": str(folder)}
    start = [sys.executable, "-c", "from tonegen.cli import main; main()"]
    program = subprocess.Popen(
        [*start, *(word.format(**places) for word in words)],
        cwd=ROOT, env={**os.environ, "XDG_CONFIG_HOME": str(folder / "own")}, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    time.sleep(seconds)
    program.send_signal(how)
    # Read to the end of what it prints: the guard has the same places, and ends last.
    _, complaints = program.communicate(timeout=_PATIENCE_SECONDS)
    heard = []
    while not synthesizer.nothing_waits():
        heard += synthesizer.take(1)
    synthesizer.close()
    faults = []
    # Until the program begins it is Python's own start that is ended, with whatever that says.
    begun = program.returncode != -how and "Fatal Python error: init_" not in complaints
    if begun and program.returncode not in (0, 128 + how):
        faults.append(f"exit code {program.returncode}")
    if begun and "Traceback" in complaints:
        faults.append(complaints)
    faults += [f"{path} is left" for path in folder.rglob(".tonegen-*")]
    faults += [f"{path} is left" for path in folder.glob("own/tonegen/tuned/*")]
    if name != "reset" and heard and len(heard) < 13:  # some of the tuning, and all twelve of the undo
        faults.append(f"{len(heard)} messages: not put back")
    return "; ".join(faults)


def main():
    moments, draw, wrong = int(sys.argv[1]), random.Random(1), 0
    for name, (_, seconds) in COMMANDS.items():
        for how in SIGNALS:
            for _ in range(moments):
                moment = draw.uniform(0, seconds)
                with tempfile.TemporaryDirectory() as folder:
                    fault = ended_at(name, how, moment, Path(folder))
                wrong += bool(fault)
                if fault:
                    print(f"{name} {how.name} after {moment:.3f} s: {fault}", flush=True)
    print(f"{moments * len(SIGNALS) * len(COMMANDS)} endings, {wrong} out of order")


if __name__ == "__main__":
    main()
