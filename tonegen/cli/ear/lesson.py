"""tonegen ear lesson."""

from textwrap import wrap

import click

from tonegen.cli.asked import Preset
from tonegen.cli.ear.terminal import STOP, KeyReader, Speaker, device_option, level_option, no_sound_option
from tonegen.cli.ear.volume import set_volume
from tonegen.ear.lesson import DEFAULT, KIND, LessonStep, Question, ladder, lesson, swells
from tonegen.ear.rendering import Clip
from tonegen.errors import BadValue


@click.command()
@click.argument("name", type=Preset(KIND), default=DEFAULT)
@click.option("--step", type=int, default=1, show_default=True, help="Start at this step.")
@level_option
@device_option
@no_sound_option
def command(name: str, step: int, level: float | None, device: str | None, no_sound: bool) -> None:
    """Learn to hear beats, step by step.

    NAME is a lesson by name (hearing-beats, in-the-band), or a TOML file of your own: copy one that ships,
    it explains itself. Your own are found by name in the folder that "tonegen list" shows, under lessons.

    \b
    tonegen ear lesson
    tonegen ear lesson in-the-band
    tonegen ear lesson ./my-class.toml --step 3
    """
    steps = lesson(name).steps
    if not 1 <= step <= len(steps):
        raise BadValue(f"--step: this lesson has steps 1 to {len(steps)}")
    with KeyReader() as keys, Speaker(device, no_sound, level) as speaker:
        at = step - 1
        if not set_volume(keys, speaker):
            return
        while at < len(steps):
            click.secho(f"\n{at + 1} of {len(steps)}  {steps[at].title}", bold=True)
            move = _teach(steps[at], keys, speaker)
            if move is None:
                click.echo(f"Stopped; to continue: tonegen ear lesson {name} --step {at + 1}")
                return
            at = max(at + move, 0)
            speaker.say_if_rest_is_due()
    click.echo("End of the lesson. Trials come next: tonegen ear train")


def _teach(step: LessonStep, keys: KeyReader, speaker: Speaker) -> int | None:
    """One step; 1 to go on, -1 to go back, None to stop."""
    _say(step.say, keys.columns)
    for sound in step.sounds:
        click.echo(f"\n{sound.caption}")
        click.echo("\n".join([*ladder(sound, keys.columns - 1), *swells(sound, keys.columns - 1)]))
        while True:
            if not speaker.silent:
                speaker.play(Clip(sound.rendered(speaker.sample_rate)))
            key = _key(
                "space: next   r: again   b: step back   q: stop", ("space", "enter", "r", "b"), keys, speaker
            )
            speaker.play(None)
            if key != "r":
                break
        if key in (STOP, "b"):
            return None if key == STOP else -1
    return _ask(step.question, keys, speaker) if step.question else 1


def _ask(question: Question, keys: KeyReader, speaker: Speaker) -> int | None:
    click.echo()
    _say(question.ask, keys.columns)
    for number, answer in enumerate(question.answers, 1):
        click.echo(f"  {number}  {answer}")
    numbers = tuple(str(number) for number in range(1, len(question.answers) + 1))
    key = _key(f"1 to {len(numbers)}: answer   q: stop", numbers, keys, speaker)
    if key == STOP:
        return None
    verdict = "Yes. " if int(key) - 1 == question.right else f"No: {question.answers[question.right]}. "
    _say(verdict + question.because, keys.columns)
    return 1


def _key(prompt: str, wanted: tuple[str, ...], keys: KeyReader, speaker: Speaker) -> str:
    """One of the keys that are wanted, or the one that stops."""
    click.secho(prompt, dim=True)
    while True:
        key = keys.next(speaker.watch).name
        if key in wanted or key == STOP:
            return key
        click.secho(f"that key does nothing here; {prompt}", dim=True)


def _say(text: str, columns: int) -> None:
    for line in wrap(text, min(columns - 1, 80)):
        click.echo(line)
