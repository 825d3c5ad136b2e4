"""Which side of pure: told by nudging the tone and hearing whether the beat slows, and by nothing else."""

import numpy as np
import pytest

from tonegen.ear.rendering import HeldSound
from tonegen.ear.session import Method, Session, SessionPlan
from tonegen.ear.trials import Task, TrialKind, make_trial
from tonegen.ear.words import result_in_words

WIDE, PURE, NARROW = 0, 1, 2
SLOWEST, FASTEST = 0.25, 15.0  # beats a second: below, nobody waits for one; above, all is rough alike
RATES_DIFFER_BY = 0.15  # of a rate, one standard deviation: how well it is heard


def heard_rate(trial, nudge, rng):
    """All that this listener hears: how fast it beats, roughly; None where it does not seem to."""
    (sound,) = trial.sounds
    rate = abs(sound.with_error(sound.error_cents + nudge * trial.nudge_cents).rate)
    if rate < SLOWEST:
        return None
    return min(rate, FASTEST) * np.exp(rng.normal(0, RATES_DIFFER_BY))


def by_nudging(trial, rng):
    """Wide where wider is faster, narrow where it is slower, pure where both ways are alike."""
    narrower, wider = (heard_rate(trial, nudge, rng) or SLOWEST / 2 for nudge in (-1, 1))
    if abs(np.log(wider / narrower)) < 0.5:
        return PURE
    return WIDE if wider > narrower else NARROW


def without(trial, rng):
    """One who hears every beat, and does not touch the tone."""
    return PURE if heard_rate(trial, 0, rng) is None else int(rng.choice((WIDE, NARROW)))


def results(listener, seed):
    rng = np.random.default_rng(seed)
    session = Session(SessionPlan(Task(TrialKind.SIDE), Method.BAYES, 60, seed=seed))
    while not session.finished:
        session.answer(listener(session.next_trial(), rng))
    return session.results()


@pytest.mark.long
def test_who_hears_beats_alone_finds_the_side_by_nudging():
    """A third of a cent; and who hears every beat and does not nudge is told just that, and no number."""
    nudging = [result for seed in range(4) for result in results(by_nudging, seed)]
    still = [result for seed in range(8) for result in results(without, seed)]

    assert all(0.2 < result.threshold.value < 0.5 for result in nudging)
    assert "You tell the side of a" in result_in_words(nudging[0], TrialKind.SIDE)[0]
    # By chance one of ten tells more sides right than guessing does.
    lost = [result for result in still if result.sides is not None]
    assert len(lost) >= 12
    assert all(result.threshold is None for result in lost)
    said, sides = result_in_words(lost[0], TrialKind.SIDE)
    assert said == "You hear that it beats, not on which side: nudge it, and listen"
    assert sides == f"{lost[0].sides[0]} of {lost[0].sides[1]} sides right"


@pytest.mark.parametrize("level", [0.2, 1.0, 8.0, 64.0])
def test_a_nudge_tells_the_side_by_the_beat_and_nothing_by_itself(level):
    """How far it goes is the same for wide, pure and narrow; the sign of error times nudge makes the rate."""
    trials = [make_trial(Task(TrialKind.SIDE), level, seed) for seed in range(30)]
    assert {trial.right for trial in trials} == {WIDE, PURE, NARROW}
    assert len({trial.nudge_cents for trial in trials}) == 1
    for trial in trials:
        (sound,) = trial.sounds
        narrower, wider = (
            abs(sound.with_error(sound.error_cents + nudge * trial.nudge_cents).rate) for nudge in (-1, 1)
        )
        # Not quite alike where it is pure: a cent up is more hertz than a cent down.
        faster = 0 if abs(wider - narrower) < 0.05 * wider else np.sign(wider - narrower)
        assert faster == {WIDE: 1, PURE: 0, NARROW: -1}[trial.right]
        assert max(narrower, wider) > 0.2
        # Neither way moves the middle of the tones, which would be heard where no beat is.
        middles = [
            np.log(sound.with_error(sound.error_cents + nudge).tones_hz).mean() for nudge in (-1, 0, 1)
        ]
        assert np.ptp(middles) < 1e-9


def test_a_nudge_glides_and_comes_back():
    """Held, moved and moved back the sound is where it was: its partials again, in new phases."""
    trial = make_trial(Task(TrialKind.SIDE), 8.0, 3)
    (sound,) = trial.sounds
    held = HeldSound(sound, 48_000)
    out = np.empty((24_000, 2), dtype=np.float32)
    spectra = []
    for nudge in (0, 1, 0):
        held.move(sound.with_error(sound.error_cents + nudge * trial.nudge_cents))
        held.pull(out)
        held.pull(out)
        turns = np.exp(-2j * np.pi * sound.tones_hz[1] * np.arange(len(out)) / 48_000) * np.hanning(len(out))
        spectra.append(abs(turns @ out[:, 0]))

    assert spectra[2] == pytest.approx(spectra[0], rel=0.05)
