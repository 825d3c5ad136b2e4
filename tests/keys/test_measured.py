"""Receivers heard note by note: made with habits of their own, which must be found and taken back."""

import numpy as np
import pytest

from tests.keys.listener import Listener
from tests.listen.strings import plucked
from tonegen.errors import BadValue
from tonegen.keys.measured import HeardKey, ReceiverHearing, ReceiverPlayer, TuneReceiver
from tonegen.keys.receivers import receiver
from tonegen.listen.clock import CardClock
from tonegen.listen.heard import UnreadSound
from tonegen.listen.receiver import receiver_steps

RATE = 16000
BLOCK = RATE // 50


class Synthesizer:
    """It obeys the standards, but plays each key off by itself, in steps, and makes less of a bend.

    Its sound is harmonic, as samplers loop it; it comes 0.12 s late.
    """

    def __init__(self, own_cents, step=0.0, rounding=np.floor, scale=1.0, mute=(), b=0.0, strays=0.0):
        self.own_cents, self.step, self.rounding, self.scale = own_cents, step, rounding, scale
        self.mute, self.b, self.strays = mute, b, strays
        self.listener = Listener()
        self.draw = np.random.default_rng(0)
        self.sound = np.zeros(0)

    def send(self, message):
        before = len(self.listener.struck)
        self.listener.send(message)
        if len(self.listener.struck) == before:
            if message[0] & 0xF0 == 0x80:
                self.sound = self.sound[:BLOCK] * np.linspace(1, 0, len(self.sound[:BLOCK]))
            return
        _, key, pitch = self.listener.struck[-1]
        if key in self.mute:
            return
        asked = self.scale * (pitch - 100 * key)
        moved = self.step * self.rounding(asked / self.step + 1e-9) if self.step else asked
        hz = 440 * 2 ** ((key - 69) / 12 + (self.own_cents(key) + moved) / 1200)
        note, _ = plucked(
            key, hz, self.b, 4.0, RATE, noise_db=60, lasts_seconds=30, partials=10, strays_cents=self.strays
        )
        self.sound = np.concatenate([np.zeros(round(0.12 * RATE)), note])

    def next_block(self):
        block = 1e-5 * self.draw.standard_normal(BLOCK)
        now, self.sound = self.sound[:BLOCK], self.sound[BLOCK:]
        block[: len(now)] += now
        return block


def heard_out(hearing, synthesizer):
    """What was heard of each key, round by round."""
    told, player = [], ReceiverPlayer(synthesizer.send)
    while hearing.found is None:
        for each in hearing.feed(synthesizer.next_block()):
            if isinstance(each, TuneReceiver):
                for message in each.plan.messages:
                    synthesizer.send(message)
            elif isinstance(each, HeardKey):
                told.append(each)
            player.do(each, 0.0)
    return told


def own(key):
    """Up to 8 cents, another for each key."""
    return 8 * np.sin(2.3 * key)


def test_what_a_keyboard_plays_off_equal_is_taken_back_to_a_tenth_of_a_cent_where_it_moves_so_finely():
    keys = (48, 55, 60)
    hearing = ReceiverHearing(receiver("mts-single-note"), keys, RATE, CardClock(0.0, 0.0))
    told = heard_out(hearing, Synthesizer(own))
    found = hearing.found
    assert [found.own_cents[key] for key in keys] == pytest.approx([own(key) for key in keys], abs=0.05)
    assert found.steps.step_cents == 0
    assert np.abs(list(found.left_cents.values())).max() < 0.1
    assert [(each.number, each.key) for each in told] == [(turn, key) for turn in (1, 2, 3) for key in keys]
    assert [each.cents for each in told[-3:]] == pytest.approx([0, 0, 0], abs=0.1)
    assert found.receiver.own_by_key == pytest.approx({key: own(key) for key in keys}, abs=0.05)
    assert hearing.done == 9


@pytest.mark.long
def test_what_is_said_of_how_sure_it_is_holds_though_partials_stray():
    """By 0.2 cents each, alike in every round: what is left is no surer than what was heard at first."""
    keys = tuple(range(48, 72, 2))
    hearing = ReceiverHearing(receiver("mts-single-note"), keys, RATE, CardClock(0.0, 0.0))
    synthesizer = Synthesizer(own, strays=0.2)
    heard_out(hearing, synthesizer)
    found = hearing.found
    left = {key: own(key) + pitch - 100 * key for _, key, pitch in synthesizer.listener.struck[-len(keys) :]}
    for cents, errors, truth in (
        (found.own_cents, found.error_cents, {key: own(key) for key in keys}),
        (found.left_cents, found.left_error_cents, left),
    ):
        assert np.mean([abs(cents[key] - truth[key]) < 2 * errors[key] for key in keys]) >= 0.9
        assert np.median(list(errors.values())) < 0.2


@pytest.mark.long
def test_the_step_of_a_synthesizer_is_named():
    """It cuts down to whole cents, and makes 127/128 of a bend, as one that we know does."""
    keys = tuple(range(60, 68))
    hearing = ReceiverHearing(receiver("twelve-channel-bend"), keys, RATE, CardClock(0.0, 0.0))
    heard_out(hearing, Synthesizer(lambda key: 3.05, 1.0, np.floor, 127 / 128))
    made = hearing.found.receiver
    assert (made.resolution_cents, made.rounding) == (1.0, "down")
    assert np.abs(list(hearing.found.left_cents.values())).max() < 0.55
    assert hearing.found.fields["rounding"] == "down"


@pytest.mark.parametrize("step", [0.39, 0.78125, 1.0, 1.5625, 5.0])
@pytest.mark.parametrize("rounding", ["nearest", "down"])
@pytest.mark.parametrize("scale", [1.0, 127 / 128])
def test_steps_are_found_whatever_they_are(step, rounding, scale):
    """Moves heard within 0.04 cents, one of them misheard by a cent."""
    draw = np.random.default_rng(int(100 * step))
    asked = draw.uniform(-45, 45, 24)
    round_it = np.rint if rounding == "nearest" else np.floor
    moved = step * round_it(scale * asked / step) + 0.04 * draw.standard_normal(24)
    moved[3] += 1.0
    found = receiver_steps(asked, moved, np.full(24, 0.04), scales=scale != 1)
    assert found.step_cents == pytest.approx(step, rel=0.01)
    assert found.rounding == rounding
    if scale != 1:
        assert found.scale == pytest.approx(scale, abs=0.2 * step / 45 + 0.002)
    others = np.delete(moved - found.moved(asked), 3)
    assert np.mean(np.abs(others) < 0.2) > 0.9


def test_no_steps_are_found_where_there_are_none():
    draw = np.random.default_rng(1)
    asked = draw.uniform(-20, 20, 24)
    found = receiver_steps(asked, asked + 0.05 * draw.standard_normal(24), np.full(24, 0.05), scales=False)
    assert (found.step_cents, found.scale) == (0.0, 1.0)
    assert found.off_cents < 0.1
    bent = receiver_steps(asked, 0.98 * asked, np.full(24, 0.05), scales=True)
    assert (bent.step_cents, round(bent.scale, 3)) == (0.0, 0.98)


def test_keys_that_cannot_be_read_are_named_and_the_others_measured():
    hearing = ReceiverHearing(receiver("mts-octave"), (60, 61, 62), RATE)
    told = heard_out(hearing, Synthesizer(own, mute=(61,)))
    assert set(hearing.found.own_cents) == {60, 62}
    assert hearing.found.why_not == {61: "nothing heard"}
    assert told[1].cents is None


def test_what_is_not_heard_at_all_is_refused():
    hearing = ReceiverHearing(receiver("mpe"), range(60, 72), RATE)
    with pytest.raises(UnreadSound, match="nothing heard; is the right input chosen"):
        heard_out(hearing, Synthesizer(own, mute=range(128)))
    hearing = ReceiverHearing(receiver("mpe"), (60, 61), RATE)
    with pytest.raises(UnreadSound, match="1 of 2 keys cannot be read, the first: nothing heard"):
        heard_out(hearing, Synthesizer(own, mute=(61,)))


def test_a_receiver_that_gets_no_notes_cannot_be_measured():
    with pytest.raises(BadValue, match="it is sent no notes"):
        ReceiverHearing(receiver("osc-per-key"), (60,), RATE)
    with pytest.raises(BadValue, match="no keys to play"):
        ReceiverHearing(receiver("mpe"), (), RATE)
