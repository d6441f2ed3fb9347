"""``simrig begin --by-feeding``: balls out, one in, what changed, and again."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from simrig.cli.begin_talk import Talk
from simrig.cli.profile_file import ProfileFile
from simrig.errors import InputError, Problem
from simrig.interchange.beginning import feeding
from simrig.profile.machine import Profile
from simrig.reports.wording import folded

CAUTION: Final = (
    "Coils may fire while the power is on: keep fingers out of kickers, use a stick. Balls out "
    "before the playfield is raised. Local codes, the machine's own manual and licensed practice "
    "come first."
)


def feed(talk: Talk, file: ProfileFile) -> None:
    """Ask ball by ball until all are in, then say what they showed.

    Raises InputError for a protocol in the file that cannot be.
    """
    try:
        _feed(talk, file)
    except ValueError as error:
        message = f"{error}; mend the line, or take it out"
        raise InputError([Problem(file=file.path, where="begun", message=message)]) from None


def _feed(talk: Talk, file: ProfileFile) -> None:
    profile = file.read()
    if feeding.is_done(profile):
        talk.say("The balls have been fed already; what they showed is in the file.")
        return
    talk.say(folded(CAUTION))
    if not feeding.is_emptied(profile):
        _empty(talk, file)
    while not talk.stopped:
        profile = file.read()
        number = feeding.fed(profile) + 1
        known = profile.balls.assumption("installed") is None
        if known and number > profile.balls.installed:
            break
        if not _ball(talk, file, number, known):
            return
        if not known and feeding.is_done(file.read()):
            break
    if talk.stopped:
        return
    profile = file.read()
    found = feeding.shown(profile)
    reports = [*found.reports, *feeding.disagreements(profile, found)]
    if not feeding.is_done(profile):
        profile = file.change(feeding.finished)
    _say_found(talk, profile, found, reports)


def _empty(talk: Talk, file: ProfileFile) -> None:
    talk.say(
        "\n"
        + folded(
            "Take every ball out and count them; captive ones stay. Which switches read closed now? "
            "Such as: 21, 36; or none; or don't know"
        )
    )
    talk.ask("empty > ", lambda words: _change(file, words, feeding.emptied))


def _change(file: ProfileFile, words: str, how: Callable[[Profile, str], Profile]) -> None:
    file.change(lambda profile: how(profile, words))


def _ball(talk: Talk, file: ProfileFile, number: int, known: bool) -> bool:
    if number == 1:
        talk.say(
            "\n"
            + folded(
                "Feed one ball into the trough and let it rest. Which switches have changed, and "
                'how do they read now? Such as: 31 closed; or none. "back" takes the last line '
                "out" + ("." if known else '; "done" when all balls are in.')
            )
        )

    def take(words: str) -> None:
        plain = words.lower()
        if plain == "back":
            file.change(feeding.taken_back)
        elif plain in ("done", "all in", "that is all"):
            if known:
                left = f"{number - 1} of {file.read().balls.installed} balls are in"
                raise ValueError(f'{left}; say what the next one changes, none, or "stop"')
            file.change(feeding.finished)
        else:
            _change(file, words, feeding.ball_fed)

    return talk.ask(f"ball {number} > ", take)


def _say_found(talk: Talk, profile: Profile, found: feeding.Shown, reports: list[str]) -> None:
    good = sum(name is not None for name in found.positions)
    talk.say(f"\n{len(found.positions)} balls fed; {good} positions answered, from the exit end:")
    for index, name in enumerate(found.positions):
        words = (
            "no switch answered" if name is None else f"{name}, {found.worked[name]} with a ball"
        )
        talk.say(f"  {index + 1}  {words}")
    for line in reports:
        talk.say(folded(f"! {line}", "  "))
    if not reports:
        talk.say("Each position answered once and held: a first proof that these sensors work.")
