"""tonegen ear train."""

import secrets
from collections.abc import Mapping
from shlex import quote
from textwrap import wrap

import click
from click.core import ParameterSource

from tonegen import presets
from tonegen.cli.asked import Parsed, Preset, choose_grip, parse_travels
from tonegen.cli.ear.questions import ask
from tonegen.cli.ear.terminal import (
    KeyReader,
    Speaker,
    device_option,
    level_option,
    no_sound_option,
    open_history,
    person_option,
    person_or_login,
)
from tonegen.cli.ear.volume import set_volume
from tonegen.cli.show import print_table
from tonegen.ear.history import History
from tonegen.ear.planning import Wish, material_of, parse_levels, parse_register, plan_of, spectrum_of
from tonegen.ear.session import Method, Session
from tonegen.ear.trials import Bed, Chord, Span, TrialKind, chord_name, parse_chords
from tonegen.ear.words import describe, result_in_words
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
@click.option("--trials", type=int, help="How many; 16 to 60, depending on the kind, if left out.")
@click.option(
    "--method",
    type=click.Choice([method.value for method in Method]),
    help="How errors are chosen: by steps, 2 or 3 down and 1 up; adaptively; or from the sizes you give.",
)
@click.option(
    "--cents", type=Parsed("5", parse_levels), help="The error that steps begin with, or your sizes: 2,5,10."
)
@click.option("--feedback/--no-feedback", default=True, help="Show the right answer after each trial.")
@click.option("--session", type=int, help="Continue this session rather than the latest.")
@person_option
@level_option
@device_option
@no_sound_option
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
    trials: int | None,
    method: str | None,
    cents: tuple[float, ...] | None,
    feedback: bool,
    session: int | None,
    person: str | None,
    level: float | None,
    device: str | None,
    no_sound: bool,
) -> None:
    """Practise with trials, and find out what you can hear.

    \b
    KIND  purer  which of two is purer         side   wide, pure or narrow
          set    set it pure                   rate   tap how fast it beats
          match  make it beat as fast          name   which interval it is
          abx    blind test: can you hear an error of that size

    Every answer is kept when it is given. Stop at any moment with q; without KIND, training goes on with the
    session that was not finished: the last one, or another by its number, which "tonegen ear history" lists.

    \b
    tonegen ear train purer --interval 5:4,3:2
    tonegen ear train abx --cents 2 --interval 3:2 --register A3,A4
    tonegen ear train set --instrument e9-ten-string --grip 3,4,5 --changes A,B
    tonegen ear train
    tonegen ear train --session 3
    """
    name = person_or_login(person)
    plan = None
    if kind is None:
        _refuse_of_a_new_session()
    else:
        if session is not None:
            raise BadValue("give a kind to begin a session, or --session to continue one, not both")
        chords, low_hz = _material(interval, instrument, grip, changes, temperament, drop, register)
        wish = Wish(
            TrialKind(kind),
            chords,
            low_hz,
            tuple(spectrum_of(presets.timbre(one), one) for one in timbre),
            Bed(bed),
            trials,
            Method(method) if method else None,
            cents or (),
        )
        plan = plan_of(wish, secrets.randbelow(2**31))
    with KeyReader() as keys, open_history() as history, Speaker(device, no_sound, level) as speaker:
        number = history.begin(name, plan) if plan else history.to_go_on(name, session)
        asked = history.session(number)
        if set_volume(keys, speaker):
            _train(asked, number, history, keys, speaker, feedback)
    _show(asked, keys.columns)
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
        answer = ask(trial, keys, speaker)
        if answer is None:
            return
        made = session.answer(answer)
        history.keep(number, count, made)
        if feedback:
            click.echo(describe(made))
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
) -> tuple[tuple[Chord, ...] | None, Span | None]:
    """The chords and the register that were asked for; None for the usual ones."""
    if instrument is None:
        if any(one is not None for one in (grip, changes, temperament, drop)):
            raise BadValue(
                "--grip, --changes, --temperament and --drop need an instrument; give --instrument"
            )
        return interval, register
    if interval is not None:
        raise BadValue("give --interval, or a grip of an instrument, not both")
    rig, made_with = rig_asked_for(instrument, temperament or "equal", drop=drop)
    chosen, state = choose_grip(rig.instrument, grip, changes)
    if made_with:
        click.echo(made_with, err=True)
    tones = rig.tones_of(chosen, Hands(dict(state.travels)))
    chord, first_octave = material_of(tones)
    return (chord,), register or first_octave


def _show(session: Session, columns: int) -> None:
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
