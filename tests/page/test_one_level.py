"""One level over everything that sounds at a page, and no way along which it jumps up."""

import asyncio

import numpy as np
import pytest

from tests.page import asks
from tests.page.visitor import frames_of, in_the_loop, visitor
from tonegen.ear.trials import Bed, TrialKind

RATE = 48000
WINDOW = RATE // 20
TEN_STRINGS = asks.Strings(tuple(range(1, 11)))
LOUDEST = asks.Level(-6.0)


@pytest.fixture(autouse=True)
def _own(own_folder):
    own_folder.mkdir(parents=True, exist_ok=True)


class AtTheLoudspeaker:
    """A page, and everything that its loudspeaker was given from one moment to the next."""

    def __init__(self, *asked):
        self.page = visitor(None, None, *asked)
        self._outlet = self.page.engine.stage.hear_in_page(RATE, lambda: None)
        self._heard = []

    def hear(self, seconds):
        blocks = [self._outlet.draw(480) for _ in range(round(seconds * RATE / 480))]
        sound = np.concatenate([frames_of(block)[1] for block in blocks])
        self._heard.append(sound)
        return sound

    async def train(self, kind, **asked):
        self.page.ask(asks.Train(kind, person="Ada", trials=3, **asked))
        await self.page.until("ears", lambda shown: shown["asked"] is not None)

    async def pause(self):
        self.page.ask(asks.Pause())
        await self.page.until("ears", lambda shown: shown["asked"] is None)

    async def demonstrate(self, step, sound):
        self.page.ask(asks.OpenLesson("hearing-beats", step), asks.Demonstrate(sound))
        wanted = (step, sound)
        await self.page.until(
            "lesson", lambda shown: shown["step"] and (shown["step"]["at"], shown["step"]["heard"]) == wanted
        )

    @property
    def all_heard(self):
        return np.concatenate(self._heard)


def peak_dbfs(sound):
    return 20 * np.log10(np.abs(sound).max() + 1e-12)


def rms_db(sound):
    return 20 * np.log10(np.sqrt(np.square(sound, dtype=float).mean()) + 1e-12)


def steepest_rise_db(sound):
    """How far a twentieth of a second is above the loudest of the half second before, where that sounds."""
    windows = sound[: len(sound) // WINDOW * WINDOW].astype(float).reshape(-1, WINDOW, 2)
    rms = np.sqrt(np.square(windows).mean(axis=1).sum(axis=1))
    before = np.array([rms[max(at - 10, 0) : at].max() for at in range(1, len(rms))])
    heard = before > 1e-7
    return float((20 * np.log10(rms[1:][heard] / before[heard])).max())


@pytest.mark.parametrize("level", [-60.0, -24.0])
def test_everything_keeps_under_the_level_and_is_of_one_loudness(level):
    """A grip, the order, the two tones, every kind of trial and what may be beneath it, lessons."""

    @in_the_loop
    async def check():
        at = AtTheLoudspeaker(asks.Strings((3, 4, 5)), asks.Level(level), asks.TurnSound(True))
        heard = {"grip": at.hear(2.0)[RATE:]}
        at.page.ask(asks.MakePlan())
        await at.page.until("order", lambda shown: shown["steps"])
        at.page.ask(asks.GoToStep(1))
        heard["order"] = at.hear(1.5)
        at.page.ask(asks.GoToStep(-1), asks.HearTones(True))
        heard["two tones"] = at.hear(1.5)
        at.page.ask(asks.HearTones(False))
        for kind in TrialKind:
            for bed in Bed:
                await at.train(kind, bed=bed, grip="" if kind is TrialKind.OWN else None)
                heard[kind, bed] = at.hear(1.5)
                await at.pause()
        for step in range(3):
            await at.demonstrate(step, step % 2)  # whole tones; what beats alone is softer
            heard["lesson", step] = at.hear(2.0)
        await at.page.engine.close()

        assert max(map(peak_dbfs, heard.values())) <= level
        loud = [rms_db(sound) for sound in heard.values()]
        assert max(loud) - min(loud) < 16

    check()


def a_chord_to_one_string(at):
    at.page.ask(TEN_STRINGS, asks.TurnSound(True))
    at.hear(1.5)
    at.page.ask(asks.Choose(timbre="pure"), asks.Strings((8,)))


def one_beat_to_the_whole_chord(at):
    at.page.ask(asks.Strings((5, 4)), asks.TurnSound(True), asks.Only(5, 4))
    at.hear(1.5)
    at.page.ask(asks.Only(), asks.Strings((1,)))


def the_level_in_one_move(at):
    at.page.ask(asks.Level(-60.0), asks.TurnSound(True))
    at.hear(1.5)
    at.page.ask(LOUDEST)


def the_level_while_strings_change(at):
    at.page.ask(asks.Level(-60.0), TEN_STRINGS, asks.TurnSound(True))
    at.hear(1.5)
    at.page.ask(LOUDEST)
    at.hear(0.4)
    at.page.ask(asks.Strings((8,)), asks.Bar(3.0))


WAYS = [
    a_chord_to_one_string,
    one_beat_to_the_whole_chord,
    the_level_in_one_move,
    the_level_while_strings_change,
]


@pytest.mark.parametrize("way", WAYS)
def test_no_way_of_the_strings_jumps_up(way):
    """At most 6 dB at once, and from there 24 dB a second: it gets there all the same."""

    @in_the_loop
    async def check():
        at = AtTheLoudspeaker(asks.Strings((8,)), LOUDEST)
        at.hear(0.1)
        way(at)
        at.hear(4.0)
        arrived = at.hear(1.0)
        assert steepest_rise_db(at.all_heard[RATE:]) < 7.5
        straight = AtTheLoudspeaker(asks.Choose(timbre=at.page.view["setting"]["timbre"]), LOUDEST)
        playing = at.page.view["playing"]
        straight.page.ask(
            asks.Strings(tuple(playing["strings"])), asks.Bar(playing["fret"]), asks.TurnSound(True)
        )
        straight.hear(3.0)
        assert rms_db(arrived) == pytest.approx(rms_db(straight.hear(1.0)), abs=0.1)
        await at.page.engine.close()
        await straight.page.engine.close()

    check()


def test_no_way_through_trials_and_lessons_jumps_up():
    """From the faintest grip to a trial, its level moved up, back to the loudest tone, and to a lesson."""

    @in_the_loop
    async def check():
        at = AtTheLoudspeaker(asks.Strings((5, 4)), LOUDEST, asks.Only(5, 4), asks.TurnSound(True))
        at.hear(2.0)
        await at.train(TrialKind.SET)
        at.hear(2.0)
        at.page.ask(asks.Level(-50.0))
        at.hear(1.0)
        at.page.ask(LOUDEST)
        at.hear(3.0)
        at.page.ask(asks.Only(), asks.Choose(timbre="pure"), asks.Strings((8,)))
        await at.pause()
        at.hear(2.0)
        await at.demonstrate(0, 0)
        at.hear(1.0)
        await at.demonstrate(1, 1)
        at.hear(1.0)
        assert steepest_rise_db(at.all_heard[RATE:]) < 9  # a beat may swell meanwhile, by 3 dB
        await at.page.engine.close()

    check()


@pytest.mark.parametrize(
    "before", [(asks.TurnSound(True),), (asks.TurnSound(True), asks.Mute(True))], ids=["start", "unmute"]
)
def test_out_of_silence_it_fades_in_over_half_a_second(before):
    @in_the_loop
    async def check():
        at = AtTheLoudspeaker(asks.Strings((8,)), LOUDEST, *before)
        if len(before) > 1:
            at.hear(1.0)
            at.page.ask(asks.Mute(False))
        first, later = at.hear(0.1), at.hear(1.0)[RATE // 2 :]
        assert rms_db(first) < rms_db(later) - 20
        await at.page.engine.close()

    check()


def test_sound_that_goes_elsewhere_fades_in_there():
    """Another loudspeaker, which may be set louder: half a second again, whatever sounded before."""

    @in_the_loop
    async def check():
        at = AtTheLoudspeaker(asks.Strings((8,)), LOUDEST, asks.TurnSound(True))
        at.hear(1.0)
        outlet = at.page.engine.stage.hear_in_page(RATE, lambda: None)
        first = frames_of(outlet.draw(4800))[1]
        assert rms_db(first) < rms_db(at.all_heard[-RATE // 2 :]) - 20
        await at.page.engine.close()

    check()


def test_the_steady_tone_gives_way_to_the_trial_and_the_grip_comes_back():
    """Held as long as it takes, and not asked for again as long as the program runs."""

    @in_the_loop
    async def check():
        at = AtTheLoudspeaker(asks.Strings((3, 4, 5)), asks.TurnSound(True))
        at.hear(1.0)
        assert at.page.shown["volume"] == {"type": "volume", "steady": False, "is_set": False}
        at.page.ask(asks.Steady(True))
        at.hear(0.5)
        steady = at.hear(3.0)
        assert rms_db(steady) == pytest.approx(-24 - 10.4, abs=0.1)  # ten partials: rms against sum
        assert at.page.shown["volume"]["steady"]
        at.page.ask(asks.Steady(False, comfortable=True))
        assert at.page.shown["volume"] == {"type": "volume", "steady": False, "is_set": True}
        at.hear(1.0)
        assert rms_db(at.hear(1.0)) < rms_db(steady)
        at.page.ask(asks.Steady(True))
        await at.train(TrialKind.PURER)
        assert at.page.shown["volume"] == {"type": "volume", "steady": False, "is_set": True}
        assert rms_db(at.hear(1.0)) < rms_db(steady)
        await at.page.engine.close()

    check()


def test_the_level_that_was_moved_is_a_volume_that_was_set():
    @in_the_loop
    async def check():
        page = visitor(None, None, asks.Level(-30.0))
        assert page.shown["volume"]["is_set"]
        await page.engine.close()

    check()


def test_the_steady_tone_ends_a_mute_and_ends_by_one_and_with_the_last_page():
    @in_the_loop
    async def check():
        at = AtTheLoudspeaker(asks.Mute(True), asks.Steady(True))
        at.hear(0.6)
        assert rms_db(at.hear(0.2)) > -50
        at.page.ask(asks.Mute(True))
        at.hear(0.6)
        assert not at.page.shown["volume"]["steady"]
        assert not at.hear(0.2).any()
        at.page.ask(asks.Steady(True))
        at.hear(0.6)
        at.page.engine.leave(at.page)
        at.hear(0.6)
        assert not at.hear(0.2).any()
        await at.page.engine.close()

    check()


def test_a_rest_is_hinted_at_when_it_has_sounded_for_long(monkeypatch):
    """What sounds counts, wherever it is heard; three seconds stand for twenty minutes here."""
    monkeypatch.setattr("tonegen.ear.comfort.REST_AFTER_SECONDS", 3.0)

    @in_the_loop
    async def check():
        at = AtTheLoudspeaker(asks.Strings((8,)), asks.TurnSound(True))
        running = asyncio.get_running_loop().create_task(at.page.engine.run())
        at.hear(2.0)
        await at.page.until("moment", lambda shown: shown["peak_dbfs"] > -60)
        assert "fault" not in at.page.shown
        elsewhere = at.page.engine.stage.hear_in_page(RATE, lambda: None)
        for _ in range(10):
            elsewhere.draw(RATE // 5)
        shown = await at.page.until("fault")
        assert shown["text"].startswith("You have been listening for 20 minutes")
        running.cancel()
        await at.page.engine.close()

    check()
