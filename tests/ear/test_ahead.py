"""The terminal makes what may be heard next while the listener still listens."""

import numpy as np
import pytest

from tonegen.cli.ear import ahead
from tonegen.cli.ear.ahead import Ahead, may_follow
from tonegen.ear.afterwards import to_hear
from tonegen.ear.planning import Wish, plan_of
from tonegen.ear.practice import practice_plan
from tonegen.ear.rendering import one_after_another
from tonegen.ear.session import Session
from tonegen.ear.trials import HELD, TrialKind, parse_chords

RATE = 48_000


@pytest.fixture
def making():
    made = Ahead(RATE)
    yield made
    made.close()


def pulled(source):
    out = np.empty((4800, 2), dtype=np.float32)
    source.pull(out)
    return out


@pytest.mark.parametrize("kind", TrialKind)
def test_whatever_is_answered_the_next_sounds_are_those_that_were_foreseen(kind):
    """And those that are heard again, where one chooses."""
    own = {"chords": parse_chords("5:4"), "tempered_cents": (0.0, 3.0), "names": ("5", "4")}
    grip = own if kind is TrialKind.OWN else {}
    session = Session(plan_of(Wish(kind, trials=4, **grip), seed=2))
    while not session.finished:
        trial = session.next_trial()
        foreseen = [*may_follow(trial, session.branch(), feedback=True)]
        for answer in range(len(trial.choices) or 1):
            branch = session.branch()
            made = branch.answer(answer)
            if trial.choices:
                assert tuple(one.sound for one in to_hear(made)) in foreseen
            if not branch.finished:
                sounds = branch.next_trial().sounds
                assert all(one in foreseen for one in sounds) if kind in HELD else sounds in foreseen
        session.answer(trial.right)


def test_what_is_ready_is_not_made_again(making, monkeypatch):
    session = Session(practice_plan("3:2", "E3,E4", (), seed=1))
    trial, held = session.next_trial(), Session(plan_of(Wish(TrialKind.SET), seed=1)).next_trial().sounds[0]
    fresh = one_after_another(trial.sounds, RATE)[:4800], pulled(making.held(held))
    making.look(lambda: [trial.sounds, held])
    making.look(lambda: [])  # the next trial is looked beyond; what it sounds itself is still there
    making.wait()
    monkeypatch.setattr(ahead, "one_after_another", None)
    monkeypatch.setattr(ahead, "HeldSound", None)

    assert (pulled(making.clip(list(trial.sounds))) == fresh[0]).all()
    assert (pulled(making.held(held)) == fresh[1]).all()


def test_what_is_not_ready_is_made_at_once(making):
    (sound,) = Session(plan_of(Wish(TrialKind.SET), seed=1)).next_trial().sounds

    assert np.abs(pulled(making.clip([sound]))).max() > 0
    assert np.abs(pulled(making.held(sound))).max() > 0
