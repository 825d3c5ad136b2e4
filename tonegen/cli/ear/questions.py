"""How each kind of trial is asked and answered in a terminal."""

import time
from collections.abc import Sequence
from typing import Final

import click

from tonegen.cli.ear.terminal import STEPS_CENTS, Speaker
from tonegen.cli.key_reader import STOP, KeyReader
from tonegen.ear.afterwards import to_hear
from tonegen.ear.rendering import strip
from tonegen.ear.rows import TrialHearing
from tonegen.ear.session import Answered
from tonegen.ear.taps import tapped_rate
from tonegen.ear.trials import Trial, TrialKind, TrialSound
from tonegen.errors import BadValue

_FARTHEST_CENTS: Final = 80.0


# An answer, and how often the trial was heard again before it.
_Taken = tuple[float, int]


def ask(trial: Trial, keys: KeyReader, speaker: Speaker) -> tuple[float, TrialHearing] | None:
    """Play a trial and take its answer, and how it was heard; None when the listener stops."""
    begun = time.perf_counter()
    try:
        match trial.task.kind:
            case TrialKind.SET:
                taken = _adjusted(trial.sounds, keys, speaker, in_beats=False)
            case TrialKind.MATCH:
                taken = _adjusted(trial.sounds, keys, speaker, in_beats=True)
            case TrialKind.RATE:
                taken = _tapped(trial.sounds[0], keys, speaker)
            case TrialKind.SIDE:
                taken = _nudged(trial, keys, speaker)
            case _:
                taken = _chosen(trial, keys, speaker)
    finally:
        speaker.play(None)
    if taken is None:
        return None
    answer, replays = taken
    return answer, TrialHearing(time.perf_counter() - begun, replays, by_ear=not speaker.silent)


def _chosen(trial: Trial, keys: KeyReader, speaker: Speaker) -> _Taken | None:
    listed = "   ".join(f"{number}: {choice}" for number, choice in enumerate(trial.choices, 1))
    prompt = f"{listed}   r: again   {STOP}: stop"
    _sound_all(trial.sounds, speaker)
    click.secho(prompt, dim=True)
    replays = 0
    while True:
        key = keys.next(speaker.watch).name
        if key == STOP:
            return None
        if key == "r":
            replays += 1
            _sound_all(trial.sounds, speaker)
        elif key.isascii() and key.isdigit() and 1 <= int(key) <= len(trial.choices):
            return float(key) - 1, replays
        else:
            click.secho(f"that is not an answer; {prompt}", dim=True)


def hear_after(answered: Answered, keys: KeyReader, speaker: Speaker) -> bool:
    """Sound what was asked once more, knowing which was which, until he goes on; False when he stops."""
    heard = to_hear(answered)
    for number, one in enumerate(heard, 1):
        click.echo(f"  {number}  {one.words}")
        if speaker.silent:
            click.echo(f"     {strip(one.sound)}")
    sounds = [one.sound for one in heard]
    numbers = f"1 to {len(heard)}: one of them   r: all   " if len(heard) > 1 else "r: again   "
    prompt = f"space: on   {numbers}{STOP}: stop"
    click.secho(prompt, dim=True)
    try:
        _sound_once_more(sounds, speaker)
        while True:
            key = keys.next(speaker.watch).name
            if key in ("space", "enter"):
                return True
            if key == STOP:
                return False
            if key == "r":
                _sound_once_more(sounds, speaker)
            elif key.isascii() and key.isdigit() and 1 <= int(key) <= len(heard):
                _sound_once_more(sounds[int(key) - 1 : int(key)], speaker)
            else:
                click.secho(f"that key does nothing here; {prompt}", dim=True)
    finally:
        speaker.play(None)


def _sound_once_more(sounds: Sequence[TrialSound], speaker: Speaker) -> None:
    if not speaker.silent:
        speaker.play(speaker.ahead.clip(sounds))


def _nudged(trial: Trial, keys: KeyReader, speaker: Speaker) -> _Taken | None:
    """One sound that goes on, a little narrower or wider by keys and back, until a choice is made."""
    listed = "   ".join(f"{number}: {choice}" for number, choice in enumerate(trial.choices, 1))
    prompt = f"left, right: narrower, wider, and back   {listed}   {STOP}: stop"
    (asked,) = trial.sounds
    held = speaker.ahead.held(asked)
    click.secho(prompt, dim=True)
    place = 0
    while True:
        now = asked.with_error(asked.error_cents + place * trial.nudge_cents)
        held.move(now)
        speaker.play(held)
        if speaker.silent:
            click.echo(strip(now))
        click.echo(f"\r{_NUDGED[place]}", nl=speaker.silent)
        key = keys.next(speaker.watch).name
        if key in ("left", "right"):
            place = min(max(place + (1 if key == "right" else -1), -1), 1)
        elif key == STOP:
            click.echo()
            return None
        elif key.isascii() and key.isdigit() and 1 <= int(key) <= len(trial.choices):
            click.echo()
            return float(key) - 1, 0
        else:
            click.secho(f"\nthat is not an answer; {prompt}", dim=True)


# Of one length, so that each covers the one before.
_NUDGED: Final = {-1: "narrower", 0: "as it is", 1: "wider   "}


def _sound_all(sounds: Sequence[TrialSound], speaker: Speaker) -> None:
    if speaker.silent:
        for sound in sounds:
            click.echo(strip(sound))
    else:
        speaker.play(speaker.ahead.clip(sounds))


def _tapped(sound: TrialSound, keys: KeyReader, speaker: Speaker) -> _Taken | None:
    prompt = f"space: tap on each beat   enter: done   backspace: start again   {STOP}: stop"
    click.secho(prompt, dim=True)
    if speaker.silent:
        click.echo(f"{strip(sound)}  ({sound.seconds:.1f} s)")
    else:
        speaker.play(speaker.ahead.held(sound))
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
                return tapped_rate(taps).value, 0
            except BadValue as too_few:
                click.secho(f"{too_few}; 8 taps are good, 12 where it beats fast", dim=True)
                taps.clear()
        else:
            click.secho(f"that is not an answer; {prompt}", dim=True)


def _adjusted(
    sounds: Sequence[TrialSound], keys: KeyReader, speaker: Speaker, in_beats: bool
) -> _Taken | None:
    """Move the last sound by keys until it is as it should be; its error in cents, or its rate."""
    own, first = sounds[-1], sounds[0]
    start = own.error_cents
    prompt = "left, right: a little   up, down: more   enter: done" + ("   r: the first" if in_beats else "")
    click.secho(f"{prompt}   {STOP}: stop", dim=True)
    held = speaker.ahead.held(own)
    if in_beats:
        _hold(first, speaker)
    else:
        speaker.play(held)
    replays = 0
    while True:
        # The slider shows how far it was moved, not where pure is: the start is drawn again in each trial.
        click.echo(f"\r{_slider(own.error_cents - start, keys.columns - 2)}", nl=speaker.silent)
        if speaker.silent:
            click.echo(strip(own))
        key = keys.next(speaker.watch).name
        if key in STEPS_CENTS:
            cents = own.error_cents + STEPS_CENTS[key]
            own = own.with_error(min(max(cents, start - _FARTHEST_CENTS), start + _FARTHEST_CENTS))
            held.move(own)
            speaker.play(held)
        elif key == "enter":
            click.echo()
            return (abs(own.rate) if in_beats else own.error_cents), replays
        elif key == "r" and in_beats:
            replays += 1
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
        speaker.play(speaker.ahead.held(sound))


def _slider(moved_cents: float, columns: int) -> str:
    """A line with the place of the slider on it, narrow at the left and wide at the right.

    >>> _slider(0.0, 24)
    'narrower ────●──── wider'
    """
    width = columns - len("narrower  wider")
    at = round((moved_cents / _FARTHEST_CENTS + 1) / 2 * (width - 1))
    return f"narrower {'─' * at}●{'─' * (width - 1 - at)} wider"
