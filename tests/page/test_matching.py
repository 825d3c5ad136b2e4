"""A partner's note on the page: a tone is brought to it, and how near it came is kept."""

import numpy as np
import pytest

from tests.ear.test_partner import HZ, wav_file
from tests.measure import beat_of
from tests.page import asks
from tests.page.running import RunningPage
from tests.page.test_rendering import asked
from tests.page.visitor import in_the_loop, visitor
from tonegen.ear.history import History
from tonegen.ear.trials import TrialKind
from tonegen.errors import BadValue
from tonegen.page.ears.matching import NoteMatch
from tonegen.page.ears.part import EarsPart
from tonegen.page.ears.recorded import recorded_note


@pytest.fixture(scope="module")
def note():
    return recorded_note(wav_file())


def is_asked(number):
    return lambda shown: shown["asked"] is not None and shown["asked"]["number"] == number


def is_answered(shown):
    return shown["after"] is not None


def is_answered_at(number):
    return lambda shown: is_answered(shown) and shown["after"]["number"] == number


def beats(matching):
    """How fast the first partials of note and tone beat, as they are heard now."""
    out = np.empty((80000, 2), dtype=np.float32)
    matching.heard(48000).pull(out)
    return abs(beat_of(out[8000:, 0].astype(float), 48000, HZ))


def test_the_tone_starts_beside_the_note_goes_where_it_is_moved_and_is_heard_in_tune_at_last(note):
    matching = NoteMatch(note, "partner.wav")
    start = beats(matching)
    assert HZ * (2 ** (11 / 1200) - 1) < start < HZ * (2 ** (41 / 1200) - 1)
    matching.move(5.0)
    moved = beats(matching)
    _, number, off, right = matching.settle(0, 5.0)
    assert (number, right) == (0, False)
    assert moved == pytest.approx(abs(HZ * (2 ** (off / 1200) - 1)), abs=0.25)
    assert moved - start == pytest.approx(np.sign(off) * HZ * (2 ** (5 / 1200) - 1), abs=0.4)
    assert matching.settle(0, 0.0) is None
    matching.move(30.0)  # too late
    assert matching.heard.start_cents + matching.heard.moved_cents == 0
    matching.go_on()
    assert matching.settle(0, 0.0) is None
    first = matching.settle(1, 0.0)
    assert matching.said.startswith("You are ")
    matching.go_on()
    assert matching.settle(2, 0.0)[2] != first[2]  # it starts elsewhere each time
    with pytest.raises(BadValue, match="finite"):
        NoteMatch(note, "").move(float("nan"))


def matched(own_folder):
    with History(own_folder / "ear.sqlite") as history:
        return history.lessons("Ada")


def test_how_near_a_tone_was_brought_is_said_and_kept_five_times_over(own_folder, note):
    own_folder.mkdir(parents=True, exist_ok=True)

    @in_the_loop
    async def check():
        page = visitor(None, None, asks.MatchRecording("partner.wav", person="Ada"))
        await page.until("fault", lambda shown: "send the partner's recording first" in shown["text"])
        page.engine.part(EarsPart).take_note(note)
        page.ask(asks.OpenLesson("in-the-band"), asks.MatchRecording("partner.wav", person="Ada"))
        shown = await page.until("ears", is_asked(0))
        assert (shown["asked"]["form"], shown["asked"]["of"], shown["heard"]) == ("slide", 5, -1)
        assert page.shown["lesson"]["step"] is None
        page.ask(asks.Move(5.0), asks.Settle(0, 5.0), asks.Settle(0, 7.0))
        shown = await page.until("ears", is_answered)
        off = float(shown["said"].split(" cents")[0].split()[-1].replace("−", "-"))
        assert 7 - 1e-9 <= abs(off) <= 45
        assert (shown["after"]["sounds"], shown["after"]["last"]) == (["in tune"], False)
        page.ask(asks.NextTrial(), asks.NextTrial())
        await page.until("ears", is_asked(1))
        page.ask(asks.Settle(1, -off))  # where nobody knows the start it is luck
        await page.until("ears", is_answered)
        assert [(one.lesson, one.answered) for one in matched(own_folder)] == [("match partner.wav", 2)]
        for number in (2, 3, 4):
            page.ask(asks.NextTrial(), asks.Settle(number, 0.0))
            shown = await page.until(
                "ears", lambda shown, at=number: (shown["after"] or {}).get("number") == at
            )
        assert shown["after"]["last"]
        page.ask(asks.NextTrial())
        shown = await page.until("ears", lambda shown: "within 3 cents" in shown["notice"])
        assert (shown["asked"], shown["after"], shown["heard"]) == (None, None, None)
        assert not page.engine.part(EarsPart).asks_alone
        await page.engine.close()

    check()


def test_whatever_else_is_begun_ends_it(own_folder, note):
    own_folder.mkdir(parents=True, exist_ok=True)

    @in_the_loop
    async def check():
        page = visitor()
        page.engine.part(EarsPart).take_note(note)
        page.ask(asks.MatchRecording("partner.wav", person="Ada"), asks.ShowEars())
        await page.until("ears", is_asked(0))
        page.ask(asks.Train(TrialKind.PURER, person="Ada"))
        await page.until("ears", lambda shown: shown["asked"] and shown["asked"]["form"] == "choose")
        page.ask(asks.MatchRecording("partner.wav", person="Ada"), asks.Pause())
        shown = await page.until("ears", lambda shown: shown["asked"] is None)
        assert shown["waiting"][0]["words"].startswith("which is purer, 0 of 90")
        assert not page.engine.part(EarsPart).asks_alone
        await page.engine.close()

    check()


@pytest.mark.parametrize(
    ("data", "why"),
    [(b"no sound", "not a sound that can be read"), (b"", "not a sound"), (wav_file()[:44], "no note heard")],
)
def test_what_is_no_recording_is_refused_in_a_line_without_a_path(data, why):
    with pytest.raises(BadValue, match=why) as refused:
        recorded_note(data)
    assert "/" not in str(refused.value)


def test_a_recording_is_sent_and_nothing_of_it_is_left(tmp_path):
    aside = tmp_path / "aside"
    aside.mkdir()
    with RunningPage(tmp_path / "own", environment={"TMPDIR": str(aside)}) as running:
        assert asked(running, wav_file(), "/partner")[0].status == 200
        response, said = asked(running, b"no sound", "/partner")
        assert (response.status, said.startswith(b"not a sound")) == (400, True)
        assert asked(running, wav_file(), "/partner", Origin=None)[0].status == 403
        with running.page() as page:
            page.ask("matchrecording", name="partner.wav", person="Ada")
            page.shown("ears", is_asked(0))
    assert list(aside.iterdir()) == []
