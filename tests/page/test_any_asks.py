"""Asks of any kind in any order: the way back and forth, refusals without a trace, one picture for all.

The suite plays ten rounds of them; ASKS_ROUNDS=300 before pytest plays so many.
"""

import asyncio
import os
import tempfile

import msgspec
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from tests.page import asks
from tests.page.visitor import Visitor
from tonegen.errors import TonegenError
from tonegen.page.engine import Engine
from tonegen.page.keeping import Kept
from tonegen.page.setting import Setting

INSTRUMENTS = ("e9-ten-string", "c6-ten-string", "bass-four-string", "resonator-open-g")
one_of = st.sampled_from
strings = st.integers(1, 6) | st.integers(0, 12)
changes = one_of(("A", "B", "E", "F", "P5", "RKL", "Z"))  # of one steel, of the other, of none
points = st.tuples(strings, st.lists(changes, max_size=1).map(tuple))
named = one_of(("mine", " mine ", "yours", ""))
cents = one_of((0.0, 3.0, -13.69, 49.9, 51.0, float("nan")))
notes = one_of(("A3", "C#4", "220", "386.3c", "H3", "B9", "", "1e5"))

HANDS_AND_FEET = st.one_of(
    st.builds(asks.Engage, changes, one_of((0.0, 0.5, 1.0, 1.5))),
    st.builds(asks.Release),
    st.builds(asks.Stand, st.lists(changes, max_size=2).map(tuple)),
    # One at least: a page that begins with no string in its grip takes the instrument's first grip.
    st.builds(asks.Strings, st.lists(strings, min_size=1, max_size=4).map(tuple)),
    st.builds(asks.Bar, one_of((0.0, 3.0, 7.5, 19.0, 24.0, 25.0, float("nan")))),
    st.builds(asks.Only, one_of(("1", "2", "bass", None)), one_of(("3", "4", None))),
)
SOUND = st.one_of(
    st.builds(asks.TurnSound, st.booleans()),
    st.builds(asks.Mute, st.booleans()),
    st.builds(asks.Level, one_of((-60.0, -12.0, 0.0))),
    st.builds(asks.SplitEars, st.booleans()),
)
OFFSETS = st.one_of(
    st.builds(asks.Offset, strings, cents, one_of(("", "one drag", "another drag"))),
    st.builds(asks.Offset, st.integers(1, 4), cents, st.just("one drag")),
    st.builds(asks.Equal, strings),
    st.builds(asks.ToTarget, strings),
    st.builds(asks.Targets),
    st.builds(asks.Keep, named),
)
SAVED = st.one_of(
    st.builds(asks.SaveGrip, named),
    st.builds(asks.ForgetGrip, named),
    st.builds(asks.SaveSong, named, st.integers(0, 11)),
    st.builds(asks.ForgetSong, named),
    st.builds(asks.GoToSong, named),
)
CHOSEN = st.one_of(
    st.builds(asks.Choose, instrument=one_of(INSTRUMENTS)),
    st.builds(asks.Choose, temperament=one_of(("equal", "five-limit-just", "vallotti", "mine", "none such"))),
    st.builds(asks.Choose, root=st.integers(-1, 11)),
    st.builds(asks.Choose, drop=one_of(("none", "demo-soft-cabinet"))),
    st.builds(asks.Choose, timbre=one_of(("organ", "string"))),
    st.builds(asks.Choose, reference_hz=one_of((440.0, 432.5, 10.0))),
    st.builds(asks.Choose, against=one_of(("", "E2", "82.41", "H3"))),
    st.builds(asks.Choose, instrument=one_of(INSTRUMENTS), drop=st.just("demo-soft-cabinet")),
)
TEMPERING = st.one_of(
    st.builds(asks.TakeScene, one_of(("", "e9-dance-band", "c6-swing-band", "none such"))),
    st.builds(lambda point: asks.HoldPoint(*point), points),
    st.builds(asks.ChooseObjective, one_of(("beats", "worst-cents"))),
    st.builds(asks.ThrowAway),
)
TWO_TONES = st.one_of(
    st.builds(asks.WriteTones, notes, notes),
    st.builds(asks.WriteTones, ratio=one_of(("", "5:4", "81:64", "five"))),
    st.builds(asks.TuneTones, one_of(("pure", "equal"))),
    st.builds(asks.HearTones, st.booleans(), st.booleans()),
)
READINGS = st.one_of(
    st.builds(asks.Read, strings, one_of(("cents", "hz")), one_of(("−2.5", "0", "196", "flat"))),
    st.builds(asks.Unread, one_of((None, 0, 3))),
    st.builds(asks.TrustMeter, one_of((0.1, 1.0))),
)
COMPARED = st.builds(asks.Compare, one_of((None, ("", "vallotti"), ("equal", "mine"), ("", "none such"))))


class Onlooker(Visitor):
    """A page that minds that its picture never goes back; of one revision all pictures are the same."""

    def post(self, kind, message):
        before = self.shown.get("view")
        super().post(kind, message)
        if kind == "view" and before is not None:
            assert self.view["revision"] >= before["revision"]
            if self.view["revision"] == before["revision"]:
                assert {**self.view, "outlet": ""} == {**before, "outlet": ""}


class AnyAsks(RuleBasedStateMachine):
    """An engine, a page, and beside them the settings that undo and redo must lead to."""

    @initialize(instrument=one_of(INSTRUMENTS))
    def open(self, instrument):
        self.own, self.patch = tempfile.TemporaryDirectory(), pytest.MonkeyPatch()
        self.patch.setenv("XDG_CONFIG_HOME", self.own.name)
        self.loop = asyncio.new_event_loop()
        self.past, self.future, self.drag = [], [], ""
        self.inside(self.begin(Kept(Setting(instrument=instrument))))

    def inside(self, work):
        return self.loop.run_until_complete(work)

    async def begin(self, kept):
        self.engine = Engine(kept, lambda kept: None)
        self.engine.stage.hear_in_page(48_000, lambda: None)  # so that no device is opened
        self.page = Onlooker(self.engine)

    @property
    def setting(self):
        return self.engine.at.setting

    def ask(self, asked):
        """Ask it; a refusal leaves no trace."""

        async def asking():
            at, shown = self.engine.at, dict(self.page.shown)
            words = self.engine.undo_words, self.engine.redo_words
            try:
                self.engine.ask(asked)
            except TonegenError:
                assert self.engine.at is at
                assert self.page.shown == shown
                assert (self.engine.undo_words, self.engine.redo_words) == words
            else:
                self.remember(at.setting, getattr(asked, "gesture", ""))

        self.inside(asking())

    def remember(self, before, gesture):
        if self.setting != before:
            if not (gesture and gesture == self.drag):
                self.past.append(before)
            self.future, self.drag = [], gesture

    @rule(asked=HANDS_AND_FEET | SOUND)
    def play(self, asked):
        setting = self.setting
        self.ask(asked)
        assert self.setting is setting

    @rule(asked=OFFSETS)
    def move(self, asked):
        self.ask(asked)

    @rule(asked=SAVED | CHOSEN)
    def choose(self, asked):
        self.ask(asked)

    @rule(asked=TEMPERING | READINGS | COMPARED)
    def work(self, asked):
        self.ask(asked)

    @rule(asked=TWO_TONES)
    def two_tones(self, asked):
        self.ask(asked)

    @rule(which=st.integers(0, 5), other=st.integers(1, 5))
    def make_pure(self, which, other):
        if sounding := self.engine.at.playing.strings:
            string, against = (sounding[one % len(sounding)] for one in (which, which + other))
            self.ask(asks.Pure(string, str(against)))

    @rule(which=st.integers(0, 30), weight=one_of((0.0, 2.0)))
    def take_and_weigh_a_grip(self, which, weight):
        grips = self.page.view["grips"]
        name = grips[which % len(grips)]["name"] if grips else "none such"
        self.ask(asks.TakeGrip(name))
        self.ask(asks.Weigh(name, weight))

    @rule(at=st.integers(-1, 2), heard=one_of(("both", "beating", "against")))
    def listen_to_a_step(self, at, heard):
        self.inside(self.make_a_plan())
        setting = self.setting
        self.ask(asks.GoToStep(at, heard))
        assert self.page.shown["order"]["at"] == at
        assert self.setting is setting

    async def make_a_plan(self):
        self.page.shown.pop("order")
        self.engine.ask(asks.MakePlan())
        assert (await self.page.until("order"))["steps"]
        assert not self.page.shown["order"]["stale"]

    @precondition(lambda self: self.past)
    @rule()
    def undo(self):
        self.future.append(self.setting)
        self.inside(self.go(asks.Undo(), self.past.pop()))

    @precondition(lambda self: self.future)
    @rule()
    def redo(self):
        self.past.append(self.setting)
        self.inside(self.go(asks.Redo(), self.future.pop()))

    async def go(self, asked, there):
        self.engine.ask(asked)
        self.drag = ""
        assert self.setting == there
        assert bool(self.page.view["undo"]) == bool(self.past)
        assert bool(self.page.view["redo"]) == bool(self.future)

    @rule()
    def undo_and_redo(self):
        """Back and forth is where it was, whether there was a step or not."""
        if self.past:
            self.undo()
            self.redo()
        else:
            self.inside(self.go(asks.Undo(), self.setting))

    @rule()
    def open_another(self):
        self.inside(self.a_fresh_one_shows_the_same())

    async def a_fresh_one_shows_the_same(self):
        """Given what is kept, but for what begins silent: where the sound is."""
        undo, redo = self.engine._history.kept()
        kept = Kept(self.setting, self.engine.at.playing, undo=undo, redo=redo)
        kept = msgspec.json.decode(msgspec.json.encode(kept), type=Kept)
        other = Engine(kept, lambda kept: None)
        fresh, page = Onlooker(other), self.page
        fresh._news = page._news
        assert not _apart(page.shown, fresh.shown, "view", "two", "notices", "asked", "choices")
        async with asyncio.timeout(20):
            while _apart(page.shown, fresh.shown, "compared", "readings"):  # worked out in threads
                page._news.clear()
                await page._news.wait()
        await other.close()

    def teardown(self):
        if hasattr(self, "engine"):
            self.inside(self.a_fresh_one_shows_the_same())
            self.inside(self.engine.close())
            self.loop.run_until_complete(self.loop.shutdown_default_executor())
            self.loop.close()
            self.patch.undo()
            self.own.cleanup()


def _apart(shown, fresh, *kinds):
    """What two pages show otherwise of these kinds, but for what begins silent."""
    silent = {
        "view": ("revision", "outlet", "playing"),
        "two": ("heard", "only"),
    }
    found = {}
    for kind in kinds:
        for field in {*shown[kind], *fresh[kind]} - set(silent.get(kind, ())):
            if shown[kind].get(field) != fresh[kind].get(field):
                found[kind, field] = shown[kind].get(field), fresh[kind].get(field)
    return found


AnyAsks.TestCase.settings = settings(
    max_examples=int(os.environ.get("ASKS_ROUNDS", "10")), stateful_step_count=20, deadline=None
)
TestAnyAsks = AnyAsks.TestCase
