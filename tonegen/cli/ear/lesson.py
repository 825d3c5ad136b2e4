"""tonegen ear lesson."""

from textwrap import wrap

import click

from tonegen.cli.asked import Preset
from tonegen.cli.ear.terminal import (
    STEPS_CENTS,
    AskedHearing,
    Speaker,
    asks_who_listens,
    open_history,
)
from tonegen.cli.ear.volume import set_volume
from tonegen.cli.key_reader import STOP, Key, KeyReader
from tonegen.ear.history import History
from tonegen.ear.lesson import (
    DEFAULT,
    KIND,
    HeldTones,
    LessonSound,
    LessonStep,
    ladder,
    lesson,
    lone_tone,
    swells,
)
from tonegen.ear.lesson_question import AnswerForm, Question
from tonegen.ear.rendering import Clip
from tonegen.ear.taps import tapped_rate
from tonegen.errors import BadValue

_ON = ("space", "enter")


@click.command()
@click.argument("name", type=Preset(KIND), default=DEFAULT)
@click.option("--step", type=int, default=1, show_default=True, help="Start at this step.")
@asks_who_listens
def command(name: str, step: int, hearing: AskedHearing) -> None:
    """Learn to hear beats, step by step.

    NAME is a lesson by name (hearing-beats, from-one-tone, drop-in-a-grip, in-the-band), or a TOML file of
    your own: copy one that ships, it explains itself. Your own are found by name in the folder that "tonegen
    list" shows, under lessons. What you answer is kept, as in training.

    \b
    tonegen ear lesson
    tonegen ear lesson from-one-tone
    tonegen ear lesson ./my-class.toml --step 3
    """
    found, who = lesson(name), hearing.name
    steps = found.steps
    if not 1 <= step <= len(steps):
        raise BadValue(f"--step: this lesson has steps 1 to {len(steps)}")
    with KeyReader() as keys, open_history() as history, hearing.speaker() as speaker:
        at = step - 1
        if not set_volume(keys, speaker):
            return
        while at < len(steps):
            click.secho(f"\n{at + 1} of {len(steps)}  {steps[at].title}", bold=True)
            move = _Step(steps[at], keys, speaker).taught(history, who, found.name, at)
            if move is None:
                click.echo(f"Stopped; to continue: tonegen ear lesson {name} --step {at + 1}")
                return
            at = max(at + move, 0)
            speaker.say_if_rest_is_due()
    click.echo("End of the lesson. Trials come next: tonegen ear train")


class _Step:
    """One step in the terminal."""

    def __init__(self, step: LessonStep, keys: KeyReader, speaker: Speaker) -> None:
        self._step, self._keys, self._speaker = step, keys, speaker

    def taught(self, history: History, person: str, lesson: str, at: int) -> int | None:
        """1 to go on, -1 to go back, None to stop; the answer is kept before anything is said of it."""
        question = self._step.question
        self._say(self._step.say)
        for sound in self._step.sounds:
            click.echo(f"\n{sound.caption}")
            if question is None or sound.shown:
                self._draw(sound)
            while True:
                if not self._speaker.silent:
                    self._speaker.play(Clip(sound.rendered(self._speaker.sample_rate)))
                key = self._key("space: next   r: again   b: step back   q: stop", (*_ON, "r", "b")).name
                self._speaker.play(None)
                if key != "r":
                    break
            if key in (STOP, "b"):
                return None if key == STOP else -1
        if question is None:
            return 1
        try:
            answer = self._asked(question)
            if answer is None:
                return None
            history.keep_reply(person, lesson, at, answer, question.is_right(answer))
            self._say(question.verdict(answer))
            for sound in self._step.sounds:
                if not sound.shown:
                    click.echo(f"\n{sound.caption}")
                    self._draw(sound)
            return None if self._key("space: on   q: stop", _ON).name == STOP else 1
        finally:
            self._speaker.play(None)

    def _asked(self, question: Question) -> float | None:
        """The answer, while the sound goes on; None to stop."""
        click.echo()
        self._say(f"{question.ask} {question.what_to_do}")
        sound = self._step.sounds[question.about]
        if self._speaker.silent:  # there is nothing to hear: the picture stands for the sound
            click.echo("\n".join(swells(sound, self._keys.columns - 1)))
        match question.form:
            case AnswerForm.COUNT:
                return self._counted(sound)
            case AnswerForm.TAP:
                return self._tapped(sound)
            case AnswerForm.SET:
                return self._set(sound)
        return self._chosen(question, sound)

    def _play(self, sound: LessonSound) -> None:
        if not self._speaker.silent:
            self._speaker.play(sound.lasting(self._speaker.sample_rate))

    def _chosen(self, question: Question, sound: LessonSound) -> float | None:
        for number, answer in enumerate(question.answers, 1):
            click.echo(f"  {number}  {answer}")
        numbers = tuple(str(number) for number in range(1, len(question.answers) + 1))
        sung = "   h: hear the tone" if question.sung_hz else ""
        self._play(sound)
        while True:
            prompt = f"1 to {len(numbers)}: answer   r: hear it again{sung}   q: stop"
            key = self._key(prompt, (*numbers, "r", *("h" if sung else ""))).name
            if key == STOP:
                return None
            if key == "r":
                self._play(sound)
            elif key == "h":
                self._play(lone_tone(question.sung_hz))
            else:
                return float(key) - 1

    def _counted(self, sound: LessonSound) -> float | None:
        """Beats counted from the beginning of the sound to its end."""
        typed = ""
        while True:
            if not (typed or self._speaker.silent):
                self._speaker.play(Clip(sound.rendered(self._speaker.sample_rate)))
            prompt = f"type how many in {sound.seconds:g} s   enter: done   r: hear it again   q: stop"
            key = self._key(prompt if not typed else "", (*"0123456789", "enter", "backspace", "r")).name
            if key == STOP:
                return None
            if key == "enter" and typed:
                click.echo()
                return float(typed)
            typed = f"{typed}{key}"[-4:] if key.isdigit() else ""
            click.echo(f"\r{typed:4}", nl=False)

    def _tapped(self, sound: LessonSound) -> float | None:
        self._play(sound)
        taps: list[float] = []
        prompt = "space: tap on each beat   enter: done   backspace: start again   q: stop"
        while True:
            key = self._key(prompt if not taps else "", ("space", "enter", "backspace"))
            if key.name == STOP:
                return None
            if key.name == "space":
                taps.append(key.seconds)
                click.echo("•", nl=False)
                continue
            click.echo()
            if key.name == "enter":
                try:
                    return tapped_rate(taps).value
                except BadValue as too_few:
                    click.secho(f"{too_few}; eight taps are good", dim=True)
            taps.clear()

    def _set(self, sound: LessonSound) -> float | None:
        held, moved = HeldTones(sound, self._speaker.sample_rate), 0.0
        if not self._speaker.silent:
            self._speaker.play(held)
        prompt = "left, right: a little lower, higher   down, up: more   enter: done   q: stop"
        while True:
            key = self._key(prompt if not moved else "", (*STEPS_CENTS, "enter")).name
            if key == STOP:
                return None
            if key == "enter":
                click.echo()
                return sound.off_cents + moved
            moved += STEPS_CENTS[key]
            held.move(moved)
            click.echo(f"\r{'lower' if moved < 0 else 'higher'} than at first", nl=False)

    def _draw(self, sound: LessonSound) -> None:
        columns = self._keys.columns - 1
        click.echo("\n".join([*ladder(sound, columns), *swells(sound, columns)]))

    def _key(self, prompt: str, wanted: tuple[str, ...]) -> Key:
        """One of the keys that are wanted, or the one that stops."""
        if prompt:
            click.secho(prompt, dim=True)
        while True:
            key = self._keys.next(self._speaker.watch)
            if key.name in wanted or key.name == STOP:
                return key
            click.secho(f"that key does nothing here; {prompt or 'q: stop'}", dim=True)

    def _say(self, text: str) -> None:
        for line in wrap(text, min(self._keys.columns - 1, 80)):
            click.echo(line)
