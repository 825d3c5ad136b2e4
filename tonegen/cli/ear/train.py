"""tonegen ear train."""

import secrets
from collections.abc import Mapping
from functools import partial
from shlex import quote
from textwrap import wrap

import click
from click.core import ParameterSource

from tonegen import presets
from tonegen.cli.asked import Parsed, Preset, choose_grip, parse_travels
from tonegen.cli.ear.ahead import may_follow
from tonegen.cli.ear.questions import ask, hear_after
from tonegen.cli.ear.terminal import (
    AskedHearing,
    Speaker,
    asks_who_listens,
    open_history,
)
from tonegen.cli.ear.volume import set_volume
from tonegen.cli.key_reader import KeyReader
from tonegen.cli.show import print_table
from tonegen.ear.history import History
from tonegen.ear.planning import Wish, material_of, parse_levels, parse_register, plan_of, spectrum_of
from tonegen.ear.session import Method, Session
from tonegen.ear.trials import Bed, Chord, Span, TrialKind, chord_name, parse_chords
from tonegen.ear.words import describe, length_in_words, result_in_words
from tonegen.errors import BadValue
from tonegen.setup.context import rig_asked_for
from tonegen.setup.setting import Hands


@click.command()
@click.argument("kind", type=click.Choice([kind.value for kind in TrialKind]), required=False)
@click.option("--interval", type=Parsed("5:4,3:2", parse_chords), help="Intervals; 4:5:6 is a chord.")
@click.option("--instrument", type=Preset("instruments"), help="Take a grip of this instrument instead.")
@click.option("--grip", metavar="3,4,5", help="Its strings, or a saved grip.")
@click.option("--changes", type=Parsed("A,B", parse_travels), help="Pedals and levers of the grip.")
@click.option("--temperament", type=Preset("temperaments"), help="The temperament; equal if left out.")
@click.option("--drop", type=Preset("drops"), help="Your cabinet drop; if left out, that of the temperament.")
@click.option("--register", type=Parsed("A2,A3", parse_register), help="Where the lowest tone lies.")
@click.option("--timbre", type=Preset("timbres"), multiple=True, help="May be given more than once.")
@click.option(
    "--bed",
    type=click.Choice([bed.value for bed in Bed]),
    default="none",
    help="What sounds in the background.",
)
@click.option(
    "--seconds",
    type=float,
    help="How long each sound lasts, 0.5 to 30; 2 if left out. Longer shows finer beats.",
)
@click.option("--trials", type=int, help="How many; 16 to 90, depending on the kind, if left out.")
@click.option(
    "--method",
    type=click.Choice([method.value for method in Method if method is not Method.BLOCKS]),
    help="How errors are chosen: by steps, 2 or 3 down and 1 up; adaptively; or from the sizes you give.",
)
@click.option(
    "--cents", type=Parsed("5", parse_levels), help="The error that steps begin with, or your sizes: 2,5,10."
)
@click.option("--feedback/--no-feedback", default=True, help="Show the right answer after each trial.")
@click.option("--session", type=int, help="Continue this session rather than the latest.")
@asks_who_listens
def command(
    kind: str | None,
    interval: tuple[Chord, ...] | None,
    instrument: str | None,
    grip: str | None,
    changes: Mapping[str, float] | None,
    temperament: str | None,
    drop: str | None,
    register: Span | None,
    timbre: tuple[str, ...],
    bed: str,
    seconds: float | None,
    trials: int | None,
    method: str | None,
    cents: tuple[float, ...] | None,
    feedback: bool,
    session: int | None,
    hearing: AskedHearing,
) -> None:
    """Practise with trials, and find out what you can hear.

    \b
    KIND  purer  which of two is purer         side   wide, pure or narrow
          set    set it pure                   rate   tap how fast it beats
          match  make it beat as fast          name   which interval it is
          abx    blind test: can you hear an error of that size
          own    a grip as you tune it, and with one string two cents off: which is off

    Every answer is kept when it is given, and you hear the sounds again, knowing which was which; space goes
    on. Stop at any moment with q; without KIND, training goes on with the
    session that was not finished: the last one, or another by its number, which "tonegen ear history" lists.

    \b
    tonegen ear train purer --interval 5:4,3:2
    tonegen ear train abx --cents 2 --interval 3:2 --register A3,A4
    tonegen ear train set --instrument e9-ten-string --grip 3,4,5 --changes A,B
    tonegen ear train own --instrument e9-ten-string --grip 3,4,5 --changes A,B --temperament my-e9
    tonegen ear train set --interval 1:1
    tonegen ear train
    tonegen ear train --session 3
    """
    name = hearing.name
    plan = None
    if kind is None:
        _refuse_of_a_new_session()
    else:
        if session is not None:
            raise BadValue("give a kind to begin a session, or --session to continue one, not both")
        chords, low_hz, names, tempered_cents = _material(
            interval, instrument, grip, changes, temperament, drop, register
        )
        wish = Wish(
            TrialKind(kind),
            chords,
            low_hz,
            tuple(spectrum_of(presets.timbre(one), one) for one in timbre),
            Bed(bed),
            trials,
            Method(method) if method else None,
            cents or (),
            seconds,
            names=names,
            tempered_cents=tempered_cents,
        )
        plan = plan_of(wish, secrets.randbelow(2**31))
    with KeyReader() as keys, open_history() as history, hearing.speaker() as speaker:
        number = history.begin(name, plan) if plan else history.to_go_on(name, session)
        asked = carried_out(number, history, keys, speaker, feedback)
    show_results(asked, keys.columns, hearing.person, by_eye=hearing.no_sound)


def carried_out(number: int, history: History, keys: KeyReader, speaker: Speaker, feedback: bool) -> Session:
    """Ask what is left of a session, keeping every answer; give it as it stands when the listener stops."""
    asked = history.session(number)
    if words := length_in_words(asked.plan.task):
        click.echo("\n".join(wrap(words, keys.columns - 1)))
    if set_volume(keys, speaker):
        _train(asked, number, history, keys, speaker, feedback)
    return asked


def show_results(asked: Session, columns: int, person: str | None, by_eye: bool) -> None:
    """What the answers say, and how to go on where some are left."""
    _show(asked, columns, by_eye)
    if not asked.finished:
        done = f"{len(asked.answered)} of {asked.plan.trials}"
        by = "" if person is None else f" --person {quote(person)}"
        click.echo(f"{done} answered and saved; to continue: tonegen ear train{by}")


def _train(
    session: Session, number: int, history: History, keys: KeyReader, speaker: Speaker, feedback: bool
) -> None:
    while not session.finished:
        count = len(session.answered)
        trial = session.next_trial()
        click.secho(f"\n{count + 1} of {session.plan.trials}  {trial.question}", bold=True)
        if not speaker.silent:
            speaker.ahead.look(partial(may_follow, trial, session.branch(), feedback))
        taken = ask(trial, keys, speaker)
        if taken is None:
            return
        answer, hearing = taken
        made = session.answer(answer)
        history.keep(number, count, made, hearing)
        if feedback:
            click.echo(describe(made))
            if not hear_after(made, keys, speaker):
                return
        speaker.say_if_rest_is_due()


def _refuse_of_a_new_session() -> None:
    """Raise BadValue when something was asked for that a session which goes on has already."""
    context = click.get_current_context()
    for option in context.command.params:
        given = context.get_parameter_source(option.name or "") is ParameterSource.COMMANDLINE
        if given and option.name not in ("feedback", "session", "person", "device", "level", "no_sound"):
            raise BadValue(
                f"{option.opts[0]} is for a new session; say what to train: {', '.join(TrialKind)}"
            )


def _material(
    interval: tuple[Chord, ...] | None,
    instrument: str | None,
    grip: str | None,
    changes: Mapping[str, float] | None,
    temperament: str | None,
    drop: str | None,
    register: Span | None,
) -> tuple[tuple[Chord, ...] | None, Span | None, tuple[str, ...], tuple[float, ...]]:
    """The chords and the register that were asked for, None for the usual ones; of a grip names and cents."""
    if instrument is None:
        if any(one is not None for one in (grip, changes, temperament, drop)):
            raise BadValue(
                "--grip, --changes, --temperament and --drop need an instrument; give --instrument"
            )
        return interval, register, (), ()
    if interval is not None:
        raise BadValue("give --interval, or a grip of an instrument, not both")
    rig, made_with = rig_asked_for(instrument, temperament or "equal", drop=drop)
    chosen, state = choose_grip(rig.instrument, grip, changes)
    if made_with:
        click.echo(made_with, err=True)
    tones = rig.tones_of(chosen, Hands(dict(state.travels)))
    found = material_of(tones)
    return (found.chord,), register or found.low_hz, found.names, found.tempered_cents


def _show(session: Session, columns: int, by_eye: bool) -> None:
    """A table that is no wider than the terminal: what is said in it stands on several lines."""
    results = session.results()
    if not results:
        return
    names = [chord_name(result.chord) for result in results]
    room = columns - max(map(len, ["interval", *names])) - len("trials") - 7
    rows = []
    for name, result in zip(names, results, strict=True):
        said, span = result_in_words(result, session.plan.task.kind)
        lines = (
            "\n".join(wrap(text, width)) for text, width in ((said, room * 3 // 5), (span, room * 2 // 5))
        )
        rows.append((name, str(result.trials), *lines))
    click.echo()
    print_table(["interval", ">trials", "result", "95 % range"], rows, "What your answers say")
    if by_eye:
        click.echo("You answered by eye: your history does not count that as heard.")
