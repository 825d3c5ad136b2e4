"""tonegen ear train."""

import secrets
from collections.abc import Mapping
from typing import Final

import click

from tonegen import presets
from tonegen.cli.asked import Parsed, Preset, choose_grip, load_drop, load_temperament_of, parse_travels
from tonegen.cli.ear.questions import ask, describe
from tonegen.cli.ear.terminal import (
    Keys,
    Speaker,
    device_option,
    no_sound_option,
    open_history,
    person_option,
    person_or_login,
)
from tonegen.cli.show import print_table, signed
from tonegen.ear.history import History
from tonegen.ear.session import Method, Plan, Result, Session
from tonegen.ear.trials import Bed, Chord, Kind, Span, Task, chord_name, chord_of, parse_chords, usual_spectra
from tonegen.errors import BadValue
from tonegen.pitch import parse_pitch
from tonegen.sounding import tones_of_grip

# What each kind begins with when nothing else is said: trials, method, level in cents.
_USUAL: Final[Mapping[Kind, tuple[int, Method, float]]] = {
    Kind.PURER: (60, Method.BAYES, 20.0),
    Kind.SIDE: (60, Method.BAYES, 20.0),
    Kind.SET: (20, Method.FIXED, 30.0),
    Kind.RATE: (20, Method.FIXED, 20.0),
    Kind.MATCH: (20, Method.FIXED, 20.0),
    Kind.NAME: (30, Method.FIXED, 3.0),
    Kind.ABX: (16, Method.FIXED, 5.0),
}


def _parse_register(text: str) -> Span:
    low, separator, high = text.partition(",")
    if not separator:
        raise BadValue("a register is two notes, the lowest tone lies between them: A2,A3")
    span = (float(parse_pitch(low).hz_at(440.0)), float(parse_pitch(high).hz_at(440.0)))
    if span[0] > span[1]:
        raise BadValue(f"register {text} goes down; give the lower note first")
    return span


def _parse_levels(text: str) -> tuple[float, ...]:
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError:
        raise BadValue(f'"{text}" are no cents; give one number or more, such as 5 or 2,5,10') from None


@click.command()
@click.argument("kind", type=click.Choice([kind.value for kind in Kind]), required=False)
@click.option("--interval", type=Parsed("5:4,3:2", parse_chords), help="Intervals; 4:5:6 is a chord.")
@click.option("--instrument", type=Preset("instruments"), help="Take a grip of this instrument instead.")
@click.option("--grip", metavar="3,4,5", help="Its strings, or a saved grip.")
@click.option("--changes", type=Parsed("A,B", parse_travels), help="Pedals and levers of the grip.")
@click.option("--register", type=Parsed("A2,A3", _parse_register), help="Where the lowest tone lies.")
@click.option("--timbre", type=Preset("timbres"), multiple=True, help="May be given more than once.")
@click.option(
    "--bed", type=click.Choice([bed.value for bed in Bed]), default="none", help="What sounds beneath."
)
@click.option("--trials", type=int, help="How many.")
@click.option(
    "--method", type=click.Choice([method.value for method in Method]), help="How levels are chosen."
)
@click.option(
    "--cents", type=Parsed("5", _parse_levels), help="Error to begin with; or, fixed, to stay with."
)
@click.option("--feedback/--no-feedback", default=True, help="Say after each answer what it was.")
@person_option
@device_option
@no_sound_option
def command(
    kind: str | None,
    interval: tuple[Chord, ...] | None,
    instrument: str | None,
    grip: str | None,
    changes: Mapping[str, float] | None,
    register: Span | None,
    timbre: tuple[str, ...],
    bed: str,
    trials: int | None,
    method: str | None,
    cents: tuple[float, ...] | None,
    feedback: bool,
    person: str | None,
    device: str | None,
    no_sound: bool,
) -> None:
    """Answer trials, and find out what you hear.

    \b
    KIND  purer  which of two is purer         side   wide, pure or narrow
          set    set it pure                   rate   tap how fast it beats
          match  make it beat as fast          name   which interval it is
          abx    blind test: can you hear so many cents

    Every answer is kept when it is given. Stop at any moment with q; without KIND, training goes on with the
    session that was not finished.

    \b
    tonegen ear train purer --interval 5:4,3:2
    tonegen ear train abx --cents 2 --interval 3:2 --register A3,A4
    tonegen ear train set --instrument e9-ten-string --grip 3,4,5 --changes A,B
    tonegen ear train
    """
    name = person_or_login(person)
    plan = None
    if kind is not None:
        usual_trials, usual_method, usual_cents = _USUAL[Kind(kind)]
        chosen_method = Method(method) if method else usual_method
        if cents and (chosen_method is Method.BAYES or kind in (Kind.RATE, Kind.MATCH)):
            hint = "" if kind in (Kind.RATE, Kind.MATCH) else ", or give --method fixed"
            raise BadValue(f"--cents: this chooses its errors itself; leave it out{hint}")
        chords, low_hz = _material(interval, instrument, grip, changes, register)
        usual = Task(Kind.SET)
        chords = chords or usual.chords
        task = Task(
            Kind(kind),
            chords=chords,
            low_hz=low_hz or usual.low_hz,
            spectra=tuple(_spectrum(one) for one in timbre) or usual_spectra(chords),
            bed=Bed(bed),
        )
        plan = Plan(
            task,
            chosen_method,
            usual_trials if trials is None else trials,
            secrets.randbelow(2**31),
            cents or (usual_cents,),
        )
    with Keys() as keys, open_history() as history, Speaker(device, no_sound) as speaker:
        number = history.begin(name, plan) if plan else _unfinished(history, name)
        session = history.session(number)
        _train(session, number, history, keys, speaker, feedback)
    _show(session)
    if not session.finished:
        done = f"{len(session.answered)} of {session.plan.trials}"
        click.echo(f"{done} answered and kept; go on with: tonegen ear train")


def _train(
    session: Session, number: int, history: History, keys: Keys, speaker: Speaker, feedback: bool
) -> None:
    while not session.finished:
        count = len(session.answered)
        trial = session.next_trial()
        click.secho(f"\n{count + 1} of {session.plan.trials}  {trial.question}", bold=True)
        answer = ask(trial, keys, speaker)
        if answer is None:
            return
        made = session.answer(answer)
        history.keep(number, count, made)
        if feedback:
            click.echo(describe(made))


def _unfinished(history: History, person: str) -> int:
    number = history.unfinished(person)
    if number is None:
        raise BadValue(f"{person} has no unfinished session; say what to train: {', '.join(Kind)}")
    return number


def _material(
    interval: tuple[Chord, ...] | None,
    instrument: str | None,
    grip: str | None,
    changes: Mapping[str, float] | None,
    register: Span | None,
) -> tuple[tuple[Chord, ...] | None, Span | None]:
    """The chords and the register that were asked for; None for the usual ones."""
    if instrument is None:
        if grip is not None or changes is not None:
            raise BadValue("--grip and --changes belong to an instrument; give --instrument")
        return interval, register
    if interval is not None:
        raise BadValue("give --interval, or a grip of an instrument, not both")
    played = presets.instrument(instrument)
    chosen, state = choose_grip(played, grip, changes)
    temperament = load_temperament_of(played, "equal", None)
    tones = tones_of_grip(played, chosen, state, 0.0, temperament, load_drop(played, "none"), 440.0)
    hz = [tone.hz for tone in tones]
    # The neck's first octave: the bar is anywhere on it, also between frets, so that pitch tells nothing.
    return (chord_of(hz),), register or (min(hz), 2 * min(hz))


def _spectrum(name: str) -> tuple[float, ...]:
    """Levels in dB of the whole partials of a timbre. Raises BadValue for one that is no harmonic tone."""
    from numpy import log10, maximum

    timbre = presets.timbre(name)
    if timbre.multiples != tuple(range(1, len(timbre.multiples) + 1)):
        raise BadValue(f"--timbre {name}: a trial needs partials 1, 2, 3 and so on, with none left out")
    return tuple((20 * log10(maximum(timbre.levels, 1e-6))).tolist())


def _show(session: Session) -> None:
    results = session.results()
    if not results:
        return
    click.echo()
    print_table(
        ["interval", ">trials", "result", "range of 95 %"],
        [
            (chord_name(result.chord), str(result.trials), *_words(result, session.plan.task.kind))
            for result in results
        ],
        "What your answers say",
    )


def _words(result: Result, kind: Kind) -> tuple[str, str]:
    if result.threshold:
        one = result.threshold
        return f"hears {one.value:.1f} cents, four times in five", f"{one.low:.1f} to {one.high:.1f} cents"
    if result.settings:
        unit = "cents" if kind is Kind.SET else "%"
        error, spread = result.settings.constant_error, result.settings.spread
        return (
            f"{signed(error.value, 1)} {unit} on the average, spread {spread.value:.1f} {unit}",
            f"{signed(error.low, 1)} to {signed(error.high, 1)}; {spread.low:.1f} to {spread.high:.1f}",
        )
    if result.proportion:
        one = result.proportion
        by_chance = (
            "" if result.p_of_guessing is None else f"; by guessing alone p = {result.p_of_guessing:.3g}"
        )
        return f"{result.right} right{by_chance}", f"{one.low:.0%} to {one.high:.0%} right"
    return "too few to say", ""
