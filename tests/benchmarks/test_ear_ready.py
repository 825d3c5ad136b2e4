"""How soon the next stimulus sounds after an answer, as a share of the 50 ms that nobody notices.

python -m pytest tests/benchmarks/test_ear_ready.py --benchmark-enable -s
"""

import itertools
import os
import subprocess
import sys

import pytest

ALLOWED_SECONDS = 0.05

# In a process of its own, as `tonegen ear train` runs: judging, keeping on the disk, choosing the next level,
# drawing the trial, and its sound, which was made while the one before was heard. Three other processes work
# all the time.
MEASURE = """
import statistics, sys, time
from pathlib import Path
import tonegen.cli.ear
from tonegen.cli.ear.ahead import Ahead, may_follow
from tonegen.ear.history import History
from tonegen.ear.session import Method, Session, SessionPlan
from tonegen.ear.trials import ADJUSTED, HELD, Bed, Task, TrialKind

kind, bed, trials = TrialKind(sys.argv[2]), Bed(sys.argv[3]), int(sys.argv[4])
method = Method.FIXED if kind in ADJUSTED else Method.BAYES
taken = []
with History(Path(sys.argv[1])) as history:
    number = history.begin("Ada", SessionPlan(Task(kind, bed=bed), method, trials, seed=1))
    session, ahead = history.session(number), Ahead(48000)
    trial = session.next_trial()
    for count in range(trials):
        ahead.look(lambda: may_follow(trial, session.branch(), False))
        ahead.wait()  # the listener listens
        answer = trial.right
        begin = time.perf_counter()
        history.keep(number, count, session.answer(answer))
        if session.finished:
            break
        trial = session.next_trial()
        if kind in HELD:
            ahead.held(trial.sounds[-1])
        else:
            ahead.clip(trial.sounds)
        taken.append(time.perf_counter() - begin)
    ahead.close()
print(statistics.median(taken), sorted(taken)[int(0.99 * len(taken))])
"""
BUSY = "while True: pass"
OTHERS = 3
TRIALS = 200


@pytest.fixture
def load(benchmark):
    """Others who work on the same machine, where it is measured."""
    others = [
        subprocess.Popen([sys.executable, "-c", BUSY]) for _ in range(OTHERS if benchmark.enabled else 0)
    ]
    yield
    for one in others:
        one.kill()
        one.wait()


@pytest.mark.benchmark(group="ear")
@pytest.mark.parametrize(
    ("kind", "bed"), list(itertools.product(("purer", "side", "set"), ("none", "noise", "chord")))
)
def test_the_next_stimulus_is_ready(benchmark, load, tmp_path, kind, bed):
    path, trials = tmp_path / "history.sqlite", TRIALS if benchmark.enabled else 5
    done = benchmark.pedantic(
        lambda: subprocess.run(
            [sys.executable, "-c", MEASURE, str(path), kind, bed, str(trials)],
            env=dict(os.environ), capture_output=True, text=True, check=True,
        ),
        rounds=1,
    )  # fmt: skip
    median, worst = map(float, done.stdout.split())
    benchmark.extra_info.update(
        median_share_of_50_ms=median / ALLOWED_SECONDS, worst_share_of_50_ms=worst / ALLOWED_SECONDS
    )
    print(f"\n{kind}, {bed}: median {median * 1000:.1f} ms, 99 in 100 within {worst * 1000:.1f} ms")
    assert median > 0
