"""How each kind of trial is asked and answered in a terminal."""

from collections.abc import Sequence
from typing import Final

import click

from tonegen.cli.ear.terminal import STOP, KeyReader, Speaker
from tonegen.ear.rendering import Clip, HeldSound, one_after_another, strip
from tonegen.ear.taps import tapped_rate
from tonegen.ear.trials import Trial, TrialKind, TrialSound
from tonegen.errors import BadValue

FINE_CENTS: Final = 0.2
COARSE_CENTS: Final = 2.0
_STEPS: Final = {"left": -FINE_CENTS, "right": FINE_CENTS, "down": -COARSE_CENTS, "up": COARSE_CENTS}
_FARTHEST_CENTS: Final = 80.0


def ask(trial: Trial, keys: KeyReader, speaker: Speaker) -> float | None:
    """Play a trial and take its answer; None when the listener stops."""
    try:
        match trial.task.kind:
            case TrialKind.SET:
                return _adjusted(trial.sounds, keys, speaker, in_beats=False)
            case TrialKind.MATCH:
                return _adjusted(trial.sounds, keys, speaker, in_beats=True)
            case TrialKind.RATE:
                return _tapped(trial.sounds[0], keys, speaker)
            case _:
                return _chosen(trial, keys, speaker)
    finally:
        speaker.play(None)


def _chosen(trial: Trial, keys: KeyReader, speaker: Speaker) -> float | None:
    listed = "   ".join(f"{number}: {choice}" for number, choice in enumerate(trial.choices, 1))
    prompt = f"{listed}   r: again   {STOP}: stop"
    _sound_all(trial.sounds, speaker)
    click.secho(prompt, dim=True)
    while True:
        key = keys.next(speaker.watch).name
        if key == STOP:
            return None
        if key == "r":
            _sound_all(trial.sounds, speaker)
        elif key.isascii() and key.isdigit() and 1 <= int(key) <= len(trial.choices):
            return float(key) - 1
        else:
            click.secho(f"that is not an answer; {prompt}", dim=True)


def _sound_all(sounds: Sequence[TrialSound], speaker: Speaker) -> None:
    if speaker.silent:
        for sound in sounds:
            click.echo(strip(sound))
    else:
        speaker.play(Clip(one_after_another(sounds, speaker.sample_rate)))


def _tapped(sound: TrialSound, keys: KeyReader, speaker: Speaker) -> float | None:
    prompt = f"space: tap on each beat   enter: done   backspace: start again   {STOP}: stop"
    click.secho(prompt, dim=True)
    if speaker.silent:
        click.echo(f"{strip(sound)}  ({sound.seconds:.1f} s)")
    else:
        speaker.play(HeldSound(sound, speaker.sample_rate))
    taps: list[float] = []
    while True:
        key = keys.next(speaker.watch)
        if key.name == STOP:
            return None
        if key.name == "space":
            taps.append(key.seconds)
            click.echo("•", nl=False)
        elif key.name == "backspace":
            taps.clear()
            click.echo()
        elif key.name == "enter":
            click.echo()
            try:
                return tapped_rate(taps).value
            except BadValue as too_few:
                click.secho(f"{too_few}; 8 taps are good, 12 where it beats fast", dim=True)
                taps.clear()
        else:
            click.secho(f"that is not an answer; {prompt}", dim=True)


def _adjusted(
    sounds: Sequence[TrialSound], keys: KeyReader, speaker: Speaker, in_beats: bool
) -> float | None:
    """Move the last sound by keys until it is as it should be; its error in cents, or its rate."""
    own, first = sounds[-1], sounds[0]
    start = own.error_cents
    prompt = "left, right: a little   up, down: more   enter: done" + ("   r: the first" if in_beats else "")
    click.secho(f"{prompt}   {STOP}: stop", dim=True)
    held = HeldSound(own, speaker.sample_rate)
    if in_beats:
        _hold(first, speaker)
    else:
        speaker.play(held)
    while True:
        # The slider shows how far it was moved, not where pure is: the start is drawn again in each trial.
        click.echo(f"\r{_slider(own.error_cents - start, keys.columns - 2)}", nl=speaker.silent)
        if speaker.silent:
            click.echo(strip(own))
        key = keys.next(speaker.watch).name
        if key in _STEPS:
            cents = own.error_cents + _STEPS[key]
            own = own.with_error(min(max(cents, start - _FARTHEST_CENTS), start + _FARTHEST_CENTS))
            held.move(own)
            speaker.play(held)
        elif key == "enter":
            click.echo()
            return abs(own.rate) if in_beats else own.error_cents
        elif key == "r" and in_beats:
            _hold(first, speaker)
        elif key == STOP:
            click.echo()
            return None
        else:
            click.secho(f"\nthat is not an answer; {prompt}   {STOP}: stop", dim=True)


def _hold(sound: TrialSound, speaker: Speaker) -> None:
    if speaker.silent:
        click.echo(strip(sound))
    else:
        speaker.play(HeldSound(sound, speaker.sample_rate))


def _slider(moved_cents: float, columns: int) -> str:
    """A line with the place of the slider on it, narrow at the left and wide at the right.

    >>> _slider(0.0, 24)
    'narrower ────●──── wider'
    """
    width = columns - len("narrower  wider")
    at = round((moved_cents / _FARTHEST_CENTS + 1) / 2 * (width - 1))
    return f"narrower {'─' * at}●{'─' * (width - 1 - at)} wider"
