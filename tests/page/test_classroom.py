"""A class: phones that come and go, answers together, with names or not, and what its link opens."""

import asyncio
import json
import wave
from io import BytesIO

import numpy as np
import pytest

from tests.measure import beat_of
from tests.page import asks
from tests.page.visitor import in_the_loop, visitor
from tonegen.ear.lesson import lesson
from tonegen.ear.trials import TrialKind
from tonegen.errors import BadPreset, BadValue
from tonegen.page.classroom.asks import ListenersChoice, ListenersName
from tonegen.page.classroom.part import ClassPart, HeardInLesson
from tonegen.page.guard import Doorkeeper

ADDRESS, PORT = "192.0.2.7", 8427
ADA, BELA = "1111111111-22222222", "3333333333-44444444"


class Phone:
    """A phone that keeps what it was shown."""

    def __init__(self):
        self.shown, self.ended = None, False

    def post(self, kind, message):
        self.ended = kind == "ended"
        self.shown = json.loads(message)


def classroom(**asked):
    page = visitor()
    part = page.engine.part(ClassPart)
    part.address = f"http://{ADDRESS}:{PORT}"
    page.ask(asks.StartClass(**asked))
    return page, part


@in_the_loop
async def test_answers_are_counted_and_shown_together_without_names():
    page, part = classroom(on_phones=True)
    ada, bela = Phone(), Phone()
    part.join(ada, ListenersName(ADA, "Ada"))
    part.join(bela, ListenersName(BELA, "Béla"))
    page.ask(asks.TrainClass(TrialKind.PURER, "5:4", 10.0))
    assert ada.shown["question"] == "Which of the two is purer?"
    assert (ada.shown["right"], ada.shown["shown"], ada.shown["words"]) == (None, [], "")
    part.say(ada, ListenersChoice(1, 0))
    part.say(ada, ListenersChoice(1, 1))  # the last counts
    part.say(bela, ListenersChoice(1, 1))
    part.say(bela, ListenersChoice(7, 0))  # of no question
    with pytest.raises(BadValue, match="answers 1 to 2"):
        part.say(bela, ListenersChoice(1, 5))
    shown = page.shown["class"]
    assert (shown["phones"], shown["answered"], shown["counts"], shown["right"]) == (2, 2, [], None)
    page.ask(asks.ShowAnswer())
    part.say(bela, ListenersChoice(1, 0))  # too late
    shown = page.shown["class"]
    assert (shown["counts"], shown["who"]) == ([0, 2], [])
    assert "Ada" not in json.dumps(shown) + json.dumps(bela.shown)
    assert (bela.shown["shown"], bela.shown["mine"]) == ([0, 2], 1)
    assert "10.0 cents" in bela.shown["words"]
    page.ask(asks.TrainClass(TrialKind.SIDE))
    assert (ada.shown["number"], ada.shown["mine"], page.shown["class"]["answered"]) == (2, None, 0)
    await page.engine.close()


@in_the_loop
async def test_a_phone_that_comes_back_finds_its_answer_and_names_are_shown_where_wanted():
    page, part = classroom(names=True, on_phones=True)
    ada, again = Phone(), Phone()
    part.join(ada, ListenersName(ADA, "Ada"))
    page.ask(asks.TrainClass(TrialKind.ABX))
    part.say(ada, ListenersChoice(1, 1))
    part.leave(ada)
    assert (page.shown["class"]["phones"], page.shown["class"]["answered"]) == (0, 1)
    part.join(again, ListenersName(ADA, " Ada  B. "))
    assert (again.shown["mine"], page.shown["class"]["phones"]) == (1, 1)
    page.ask(asks.ShowAnswer())
    assert page.shown["class"]["who"] == [[], ["Ada B."]]
    page.ask(asks.StopClass())
    assert again.ended
    assert (page.shown["class"]["live"], part.token) == (False, "")
    with pytest.raises(BadValue, match="no class now"):
        part.join(again, ListenersName(ADA))
    await page.engine.close()


@in_the_loop
async def test_the_question_sounds_here_or_on_the_phones():
    page, part = classroom()
    with pytest.raises(BadValue, match="ask the class first"):
        page.ask(asks.HearClass())
    page.ask(asks.TrainClass(TrialKind.PURER))
    assert part.asks_alone
    with pytest.raises(BadValue, match="nothing sounds on the phones"):
        await part.sound()
    page.ask(asks.ShowAnswer())
    assert not part.asks_alone
    page.ask(asks.StartClass(on_phones=True), asks.TrainClass(TrialKind.PURER))
    assert not part.asks_alone
    with wave.open(BytesIO(await part.sound())) as file:
        assert (file.getframerate(), file.getnchannels()) == (44100, 2)
        assert 3 < file.getnframes() / 44100 < 6
    with pytest.raises(BadValue, match="answers by choice"):
        page.ask(asks.TrainClass(TrialKind.RATE))
    await page.engine.close()


@in_the_loop
async def test_a_lesson_is_taken_on_each_phone_at_its_own_pace_and_the_teacher_sees_how_far():
    page, part = classroom(names=True)
    ada, bela = Phone(), Phone()
    with pytest.raises(BadValue, match="no lesson was given"):
        await part.lesson_sound(HeardInLesson(0, 0))
    with pytest.raises(BadPreset, match="no lesson called"):
        page.ask(asks.ShareLesson("/etc/passwd"))
    part.join(ada, ListenersName(ADA, "Ada"))
    page.ask(asks.ShareLesson("hearing-beats"))
    part.join(bela, ListenersName(BELA, "Béla"))
    assert [phone.shown["lesson"]["at"] for phone in (ada, bela)] == [0, 0]
    part.say(ada, asks.OpenLesson("another", 4))  # the lesson is the one that was given
    assert (ada.shown["lesson"]["lesson"], ada.shown["lesson"]["at"]) == ("hearing-beats", 4)
    part.say(ada, asks.Reply(12))
    part.say(ada, asks.Reply(9))  # of several answers the last counts
    part.say(bela, asks.Reply(2))
    with pytest.raises(BadValue, match="not answered so"):
        part.say(bela, asks.Settle(0, 1.0))
    assert "it beat 9.2 times" in ada.shown["lesson"]["verdict"]
    shown = page.shown["class"]
    assert [(one["answered"], one["right"]) for one in shown["steps"]][:5] == [(1, 0), *[(0, 0)] * 3, (1, 1)]
    assert [tuple(one.values()) for one in shown["listeners"]] == [("Ada", 1, 1), ("Béla", 1, 0)]
    page.ask(asks.TrainClass(TrialKind.PURER))
    part.say(ada, asks.Reply(0))  # it waits while a question stands
    assert (ada.shown["lesson"], page.shown["class"]["steps"]) == (None, shown["steps"])
    page.ask(asks.ShareLesson("hearing-beats"))
    assert (ada.shown["lesson"]["at"], ada.shown["number"], page.shown["class"]["question"]) == (4, 0, "")
    page.ask(asks.ShareLesson("in-the-band"))
    assert (ada.shown["lesson"]["at"], page.shown["class"]["listeners"]) == (0, [])
    await page.engine.close()


@in_the_loop
async def test_a_phone_hears_the_sounds_of_its_lesson_where_it_moved_them():
    page, part = classroom()
    page.ask(asks.ShareLesson("hearing-beats"))
    step = 6  # set it pure
    (low_hz, high_hz), beside = lesson("hearing-beats").steps[step].sounds[0].tones_hz, 9.0
    for cents in (0.0, -beside):
        with wave.open(BytesIO(await part.lesson_sound(HeardInLesson(step, 0, cents)))) as file:
            rate = file.getframerate()
            sound = np.frombuffer(file.readframes(file.getnframes()), "<i2")[::2].astype(float)
        wanted = 4 * high_hz * 2 ** (cents / 1200) - 5 * low_hz
        beat = beat_of(sound[rate // 5 : -rate // 5], rate, 5 * low_hz)
        assert abs(beat) == pytest.approx(abs(wanted), abs=0.1)
    for missing in (HeardInLesson(99, 0), HeardInLesson(step, 5)):
        with pytest.raises(BadValue):
            await part.lesson_sound(missing)
    with wave.open(BytesIO(await part.lesson_sound(HeardInLesson(0, 4)))) as file:  # the tone to be sung
        assert file.getnframes() == 3 * file.getframerate()
    await page.engine.close()


@in_the_loop
async def test_a_question_of_a_lesson_is_put_to_the_class():
    page, part = classroom(on_phones=True)
    ada = Phone()
    part.join(ada, ListenersName(ADA))
    offered = {one["name"]: one["questions"] for one in page.shown["class"]["lessons"]}
    assert {"step": 1, "title": "Drop in a chord"} in offered["in-the-band"]
    assert {"step": 4, "title": "Count"} not in offered["hearing-beats"]
    page.ask(asks.LessonQuestion("in-the-band", 1))
    assert ada.shown["question"] == "A root sags. What happens to the third above it?"
    part.say(ada, ListenersChoice(1, 0))
    page.ask(asks.ShowAnswer())
    question = lesson("in-the-band").steps[1].question
    assert (ada.shown["right"], ada.shown["words"]) == (question.right, question.because)
    with wave.open(BytesIO(await part.sound())) as file:
        assert file.getnframes() > 3 * file.getframerate()
    for step in (4, 70):
        with pytest.raises(BadValue):
            page.ask(asks.LessonQuestion("hearing-beats", step))
    await page.engine.close()


def test_a_class_needs_a_network():
    @in_the_loop
    async def check():
        page = visitor()
        with pytest.raises(BadValue, match="tonegen page --lan"):
            page.ask(asks.StartClass())
        await page.engine.close()

    check()


def let_in(path, cookie="", query="", class_token="the-class", kind="http"):
    """What becomes of a request from the network: passed, or the status or code with which it is refused."""
    sent = []

    async def app(scope, receive, send):
        sent.append({"status": "passed"})

    async def receive():
        return {"type": "websocket.connect"}

    async def send(message):
        sent.append(message)

    host = f"{ADDRESS}:{PORT}"
    headers = [(b"host", host.encode()), (b"origin", f"http://{host}".encode()), (b"cookie", cookie.encode())]
    scope = {
        "type": kind, "method": "GET", "path": path, "query_string": query.encode(), "scheme": "http",
        "server": (ADDRESS, PORT), "root_path": "", "headers": headers,
    }  # fmt: skip
    guard = Doorkeeper(app, PORT, (ADDRESS,), "the-teacher", lambda: class_token)
    asyncio.run(guard(scope, receive, send))
    return sent[0].get("status") or sent[0]["code"]


OWN_PAGE = (
    "/classroom/phone.html", "/classroom/phone.js", "/classroom/sound.wav", "/classroom/lesson.wav",
    "/ears/doing.js", "/ears/step.js", "/static/style.css",
)  # fmt: skip
NOT_FOR_PHONES = ("/", "/answers.csv", "/render", "/static/main.js", "/classroom/class.js", "/ears/ears.js")


def test_a_phone_of_the_class_gets_to_the_class_and_nowhere_else():
    ours = "tonegen-class=the-class"
    assert let_in("/classroom", query="token=the-class") == 303
    for query in ("", "token=", "token=the-other"):
        assert let_in("/classroom", query=query) == 401
    assert [let_in(path, ours) for path in OWN_PAGE] == ["passed"] * len(OWN_PAGE)
    assert [let_in(path, ours) for path in NOT_FOR_PHONES] == [401] * len(NOT_FOR_PHONES)
    assert let_in("/", query="token=the-class") == 401  # the class's link is not the teacher's
    assert let_in("/", "tonegen=the-class") == 401
    assert let_in("/classroom/listen", ours, kind="websocket") == "passed"
    for path in ("/engine", "/sound"):
        assert let_in(path, ours, kind="websocket") == 4403


def test_once_the_class_is_over_its_link_opens_nothing():
    for token in ("", "the-next-class"):
        assert let_in("/classroom", query="token=the-class", class_token=token) == 401
        assert [let_in(path, "tonegen-class=the-class", class_token=token) for path in OWN_PAGE] == [
            401
        ] * len(OWN_PAGE)
    assert let_in("/classroom/phone.html", "tonegen-class=", class_token="") == 401
