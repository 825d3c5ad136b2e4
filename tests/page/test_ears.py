"""Trials behind the pages: the sound gives way and comes back, and the history can be in any state."""

import sqlite3

import numpy as np
import pytest

from tests.page import asks
from tests.page.visitor import Visitor, frames_of, in_the_loop, visitor
from tonegen import presets
from tonegen.ear.history import History
from tonegen.ear.lesson import lesson
from tonegen.ear.trials import TrialKind
from tonegen.errors import BadValue

TRIAL = asks.Train(TrialKind.PURER, person="Ada", trials=3)


@pytest.fixture
def own(own_folder):
    own_folder.mkdir(parents=True, exist_ok=True)
    return own_folder / "ear.sqlite"


def is_asked(number):
    return lambda shown: shown["asked"] is not None and shown["asked"]["number"] == number


def nothing_asked(shown):
    return shown["asked"] is None


def drawn(outlet, seconds):
    """What a page's loudspeaker is given."""
    blocks = [outlet.draw(1024) for _ in range(round(seconds * 48000 / 1024))]
    return np.concatenate([frames_of(block)[1][:, 0] for block in blocks])


def level_at(sound, hz):
    """How loud a partial is, in dB."""
    turns = np.exp(-2j * np.pi * hz * np.arange(len(sound)) / 48000) * np.hanning(len(sound))
    return 20 * np.log10(np.abs(turns @ sound) / len(sound) * 4 + 1e-9)


def test_the_engines_tones_stop_for_a_trial_and_come_back(own):
    @in_the_loop
    async def check():
        page = visitor(None, None, asks.Strings((4, 5)), asks.TurnSound(True))
        outlet = page.engine.stage.hear_in_page(48000, lambda: None)
        hz = float(page.string(5)["hz"])
        before = drawn(outlet, 1.0)[24000:]
        page.ask(
            asks.Train(TrialKind.PURER, person="Ada", trials=3, register="A4,A5")
        )  # no partial near the string
        await page.until("ears", is_asked(0))
        during = drawn(outlet, 0.7)[12000:]
        page.ask(asks.Pause())
        await page.until("ears", nothing_asked)
        after = drawn(outlet, 1.5)[48000:]

        assert page.view["playing"]["sounding"]
        assert level_at(before, hz) > -60
        assert level_at(during, hz) < level_at(before, hz) - 20
        assert np.abs(during).max() > 0.01
        assert level_at(after, hz) == pytest.approx(level_at(before, hz), abs=0.5)
        await page.engine.close()

    check()


def test_a_trial_sounds_though_nothing_else_does_and_silence_follows(own):
    @in_the_loop
    async def check():
        page = visitor()
        outlet = page.engine.stage.hear_in_page(48000, lambda: None)
        page.ask(TRIAL)
        await page.until("ears", is_asked(0))
        assert np.abs(drawn(outlet, 0.5)).max() > 0.01
        page.ask(asks.Mute(True))
        drawn(outlet, 0.1)
        assert np.abs(drawn(outlet, 0.5)).max() == 0.0
        page.ask(asks.ChooseAnswer(0, 0), asks.NextTrial())
        await page.until("ears", is_asked(1))
        assert np.abs(drawn(outlet, 0.5)).max() == 0.0  # mute is mute, whatever is asked next
        page.ask(asks.Hear())
        await page.until("ears", lambda shown: shown["heard"] == -1)
        assert not page.view["playing"]["muted"]
        assert np.abs(drawn(outlet, 0.5)).max() > 0.01
        page.ask(asks.Pause())
        await page.until("ears", nothing_asked)
        drawn(outlet, 0.6)
        assert np.abs(drawn(outlet, 0.5)).max() == 0.0
        await page.engine.close()

    check()


def test_a_trial_begins_again_where_the_sound_goes_next(own):
    """A page that takes the sound over hears the trial from its start, at its own rate."""

    @in_the_loop
    async def check():
        page = visitor(None, None, TRIAL)
        await page.until("ears", is_asked(0))
        first = drawn(page.engine.stage.hear_in_page(48000, lambda: None), 0.5)
        second = drawn(page.engine.stage.hear_in_page(48000, lambda: None), 0.5)
        assert np.abs(first).max() > 0.01
        assert second == pytest.approx(first)
        await page.engine.close()

    check()


def test_trials_that_nobody_sees_stop_and_wait(own):
    @in_the_loop
    async def check():
        page = visitor(None, None, TRIAL)
        await page.until("ears", is_asked(0))
        page.engine.leave(page)
        other = Visitor(page.engine)
        shown = await other.until("ears", nothing_asked)
        assert [one["words"].partition(";")[0] for one in shown["waiting"]] == [
            "which is purer, 0 of 3 answered"
        ]
        await page.engine.close()

    check()


def test_a_grip_is_tempered_and_drops_as_the_player_has_it(own):
    """Strings 3, 4, 5 with A and B stand for 3:4:5 upside down: C#4 E4 A4, ratios 1, 6:5, 8:5."""

    @in_the_loop
    async def check():
        page = visitor(None, None, asks.Choose(temperament="five-limit-just", drop="demo-soft-cabinet"))
        page.ask(asks.Train(TrialKind.SIDE, person="Ada", trials=1, grip="A major A+B 3-4-5"))
        await page.until("ears", is_asked(0))
        page.ask(asks.ChooseAnswer(0, 0))
        await page.until("ears", nothing_asked)
        page.ask(asks.Train(TrialKind.OWN, person="Ada", trials=1, grip="A major A+B 3-4-5"))
        await page.until("ears", is_asked(0))
        page.ask(asks.ChooseAnswer(0, 0))
        shown = await page.until(
            "ears", lambda shown: shown["after"] and "as you tune it" in str(shown["after"])
        )
        assert ", 2.0 cents " in shown["said"]
        page.ask(asks.TakeGrip("A major A+B 3-4-5"))
        shown_hz.append(float(page.string(5)["hz"]))
        await page.engine.close()

    shown_hz = []
    check()
    with History(own) as history:
        row, _ = history.rows("Ada")
    assert row.interval == "5:6:8"
    low_hz, high_hz = row.again().task.low_hz
    assert high_hz == pytest.approx(2 * low_hz)
    assert [low_hz] == pytest.approx(shown_hz, abs=0.01)
    assert low_hz < 275.1  # a just C#4 is 275.0 Hz at most; in equal temperament it would be 277.2


def test_a_trial_wears_the_timbre_that_was_chosen(own):
    """Of those that are listed; what has no partials that beat is not, and a file is never read."""

    @in_the_loop
    async def check():
        page = visitor(None, None, asks.ShowEars("Ada"))
        listed = [one["name"] for one in (await page.until("ears"))["offered"]["timbres"]]
        assert "plucked" in listed
        assert "pure" not in listed
        page.ask(asks.Train(TrialKind.SIDE, person="Ada", trials=1, timbre="plucked"))
        await page.until("ears", is_asked(0))
        page.ask(asks.ChooseAnswer(0, 0))
        await page.until("ears", nothing_asked)
        page.ask(asks.Train(TrialKind.SIDE, person="Ada", timbre="../../etc/passwd"))
        assert "there is no timbre called" in (await page.until("fault"))["text"]
        await page.engine.close()

    check()
    levels = presets.timbre("plucked").levels
    with History(own) as history:
        (row,) = history.rows("Ada")
    sound = row.again().sounds[0]
    assert sound.levels_db == pytest.approx(20 * np.log10(np.maximum(levels, 1e-6)))


def test_a_grip_that_there_is_not(own):
    @in_the_loop
    async def check():
        page = visitor()
        with pytest.raises(BadValue, match="has no grip"):
            page.ask(asks.Train(TrialKind.SIDE, grip="nowhere"))
        page.ask(asks.Strings((4,)), asks.Train(TrialKind.SIDE, grip=""))
        fault = await page.until("fault")
        assert "two strings or more" in fault["text"]
        await page.engine.close()

    check()


def test_a_wish_that_cannot_be_is_told_and_nothing_begins(own):
    @in_the_loop
    async def check():
        page = visitor(None, None, asks.Train(TrialKind.PURER, person="Ada", register="A3,A2"))
        assert "lower note first" in (await page.until("fault"))["text"]
        assert page.shown["ears"]["asked"] is None
        assert page.shown["ears"]["waiting"] == []
        await page.engine.close()

    check()


@pytest.mark.parametrize("state", ["newer", "damaged", "locked"])
def test_a_history_in_any_state(own, state):
    if state == "newer":
        with History(own):
            pass
        database = sqlite3.connect(own)
        database.execute("PRAGMA user_version = 9")
        database.close()
    if state == "damaged":
        own.write_bytes(b"no database at all")

    @in_the_loop
    async def check():
        page = visitor(None, None, asks.ShowEars("Ada"))
        if state == "newer":
            assert "written by a newer tonegen" in (await page.until("fault"))["text"]
            assert page.shown["ears"]["asked"] is None
        elif state == "damaged":
            shown = await page.until("ears")
            assert "was damaged: it is kept as ear-damaged-" in shown["notice"]
        else:
            page.ask(TRIAL)
            await page.until("ears", is_asked(0))
            other = sqlite3.connect(own, isolation_level=None)
            other.execute("BEGIN EXCLUSIVE")
            page.ask(asks.ChooseAnswer(0, 0))
            assert "is locked by another program" in (await page.until("fault"))["text"]
            other.execute("ROLLBACK")
            other.close()
            page.ask(asks.GoOn("Ada"))
            await page.until("ears", is_asked(0))  # what was not kept is asked again
        await page.engine.close()

    check()


def test_delete_mine_from_one_page_is_seen_by_all(own):
    @in_the_loop
    async def check():
        page = visitor(None, None, TRIAL)
        other = Visitor(page.engine)
        await page.until("ears", is_asked(0))
        page.ask(asks.ChooseAnswer(0, 0), asks.Pause())
        await other.until("ears", lambda shown: shown["kept"] == 1)
        page.ask(asks.Forget("Béla"))
        assert 'there are no answers from "Béla"' in (await page.until("fault"))["text"]
        page.ask(asks.Forget("Ada"))
        shown = await other.until("ears", lambda shown: shown["kept"] == 0)
        assert (shown["people"], shown["waiting"]) == ([], [])
        assert (await other.until("eargraphs", lambda shown: not shown["days"]))["session"] == []
        await page.engine.close()

    check()
    assert b"Ada" not in own.read_bytes()


def test_a_page_that_asks_too_fast_is_told_so(own):
    @in_the_loop
    async def check():
        page = visitor(None, None, TRIAL)
        moves = [asks.Move(1.0)] * 500
        with pytest.raises(BadValue, match="too many requests"):
            page.ask(*moves)
        await page.engine.close()

    check()


def test_a_lesson_sounds_asks_and_answers(own):
    @in_the_loop
    async def check():
        page = visitor(None, None, asks.OpenLesson("in-the-band"))
        outlet = page.engine.stage.hear_in_page(48000, lambda: None)
        step = (await page.until("lesson"))["step"]
        assert (step["at"], step["of"], step["verdict"]) == (0, 4, "")
        assert "Cabinet drop" in step["title"]
        assert all(sound["hidden"] and not sound["words"] + sound["tones"] for sound in step["sounds"])
        page.ask(asks.Demonstrate(0))
        await page.until("lesson", lambda shown: shown["step"]["heard"] == 0)
        assert np.abs(drawn(outlet, 0.5)).max() > 0.005
        page.ask(asks.Reply(0))
        step = (await page.until("lesson", lambda shown: shown["step"]["verdict"]))["step"]
        assert step["right"]
        assert step["verdict"].startswith("Yes. ")
        assert any("at the end" in words for sound in step["sounds"] for words in sound["words"])
        named = {one["name"]: one["done"] for one in page.shown["lesson"]["lessons"]}
        assert named["in-the-band"].startswith("1 of 1 answered right")
        assert named["hearing-beats"] == ""
        page.ask(asks.Pause())
        await page.until("lesson", lambda shown: shown["step"] is None)
        drawn(outlet, 0.6)
        assert np.abs(drawn(outlet, 0.3)).max() == 0.0
        await page.engine.close()

    check()


def test_a_lesson_is_counted_tapped_set_and_sung(own):
    """What is set glides while it sounds, and goes on; the tone to be sung is the sound after the last."""

    @in_the_loop
    async def check():
        page = visitor(None, None, asks.OpenLesson("hearing-beats", 4), asks.Reply(9))
        outlet = page.engine.stage.hear_in_page(48000, lambda: None)

        async def answered():
            step = (await page.until("lesson", lambda shown: shown["step"]["verdict"]))["step"]
            page.shown.pop("lesson")
            return step["form"], step["right"], step["verdict"].split(".")[0]

        assert await answered() == ("count", True, "Yes: you counted 9, it beat 9")
        page.ask(asks.OpenLesson("hearing-beats", 1))
        page.ask(asks.Taps(0, tuple(500.0 * beat for beat in range(9))))
        assert await answered() == ("tap", True, "Yes: you tapped 2")
        page.ask(asks.OpenLesson("hearing-beats", 6), asks.Move(-12.0))
        await page.until("lesson", lambda shown: shown["step"]["heard"] == 0)
        sound = drawn(outlet, 3.0)[48000:]
        assert level_at(sound, 275.0) > level_at(sound, 277.0) + 30
        page.ask(asks.Settle(0, -11.0))
        assert await answered() == ("set", True, "Yes: you are +1")
        page.ask(asks.OpenLesson("hearing-beats", 0), asks.Demonstrate(4))
        await page.until("lesson", lambda shown: shown["step"]["heard"] == 4)
        assert level_at(drawn(outlet, 2.0)[48000:], 660.0) > -60
        page.ask(asks.Reply(2))
        assert await answered() == ("sing", False, "Hear the tone again, and sing it")
        page.ask(asks.Settle(0, 0.0))
        assert "is not answered so" in (await page.until("fault"))["text"]
        await page.engine.close()

    check()
    with History(own) as history:
        (kept,) = history.lessons(history.people()[0])
    assert (kept.lesson, kept.answered, kept.right) == ("hearing-beats", 4, 3)


@pytest.mark.parametrize("name", ["hearing-beats", "in-the-band"])
def test_each_question_of_a_lesson_has_its_right_answer(own, name):
    @in_the_loop
    async def check():
        page = visitor()
        for at, step in enumerate(lesson(name).steps):
            for choice in range(len(step.question.answers)):
                page.ask(asks.OpenLesson(name, at), asks.Reply(choice))
                shown = await page.until(
                    "lesson", lambda shown, at=at: shown["step"]["at"] == at and shown["step"]["verdict"]
                )
                assert shown["step"]["right"] == (choice == step.question.right)
                page.shown.pop("lesson")
        await page.engine.close()

    check()


def test_a_lesson_is_drawn_where_its_partials_and_beats_are(own):
    """A beat slowed from 8 a second to none turns more often in the first half than in the second."""

    @in_the_loop
    async def check():
        page = visitor(None, None, asks.OpenLesson("hearing-beats", 2), asks.Reply(0))
        await page.until("lesson", lambda shown: shown["step"]["verdict"])
        sounds = (await page.until("lesson"))["step"]["sounds"]
        tones = [tone for sound in sounds for tone in sound["tones"]]
        for tone in tones:
            places = [place for place, _ in tone["rungs"]]
            assert places == sorted(places)
            assert 0 <= places[0] <= places[-1] <= 1
        assert [len(tone["rungs"]) for tone in tones] == [10, 10, 1, 1]  # of the second only what beats
        assert any(meets for tone in tones for _, meets in tone["rungs"])
        loud = np.array(sounds[0]["swells"][0]["loud"])
        turns = np.flatnonzero((loud[1:-1] < loud[:-2]) & (loud[1:-1] <= loud[2:]))
        assert (turns < len(loud) / 2).sum() > (turns >= len(loud) / 2).sum()
        assert loud[-1] == pytest.approx(loud[-10], abs=0.05)
        await page.engine.close()

    check()


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (asks.OpenLesson("../../etc/passwd"), "no lesson called"),
        (asks.OpenLesson("in-the-band", 99), "steps 1 to 4"),
        (asks.Demonstrate(0), "no lesson is open"),
        (asks.Reply(0), "no lesson is open"),
    ],
)
def test_a_lesson_that_there_is_not(own, asked, message):
    @in_the_loop
    async def check():
        page = visitor(None, None, asked)
        assert message in (await page.until("fault"))["text"]
        assert page.shown["lesson"]["step"] is None
        await page.engine.close()

    check()
