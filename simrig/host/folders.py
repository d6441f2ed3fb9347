"""Folders of profile files, without packaging."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import NamedTuple

import attrs

from simrig.errors import Problem, ProfileError

VARIABLE = "SIMRIG_PROFILES"
NOT_PROFILES = ("pyproject.toml",)
SCENARIO = ".scenario.toml"
NO_PROFILE = (
    "found no id in quotes with a whole number as balls.installed; wanted both, as every profile "
    "has them; put them in"
)
_MARK = b"\xef\xbb\xbf"


class Summary(NamedTuple):
    """What a list of machines says about one."""

    id: str
    title: str
    balls: int


def read(path: Path) -> Summary | Problem | None:
    """Return the summary of a profile file, or what is wrong with it.

    None for another table: one that says neither ``id`` nor ``balls``.
    """
    import tomllib

    try:
        data = path.read_bytes()
    except OSError as error:
        message = f"it cannot be read ({error.strerror}); wanted a file that you may read"
        return Problem(file=str(path), where="profile", message=message)
    try:
        found = tomllib.loads(data.removeprefix(_MARK).decode("utf-8").replace("\r\n", "\n"))
    except (ValueError, RecursionError):
        from simrig.profile.located import decode, locate

        try:  # the same again, for the line and plain words
            found = locate(decode(data, str(path)), str(path)).data
        except ProfileError as refused:
            return refused.problems[0]
    name, title, balls = found.get("id"), found.get("title"), found.get("balls")
    if name is None and balls is None:
        return None
    installed = balls.get("installed") if isinstance(balls, Mapping) else None
    if not isinstance(name, str) or type(installed) is not int:
        return Problem(file=str(path), where="profile", message=NO_PROFILE)
    return Summary(name, title if isinstance(title, str) and title else name, installed)


def folders(
    named: Iterable[str], environ: Mapping[str, str]
) -> tuple[tuple[str, ...], list[Problem]]:
    """Return the folders named by option and environment, and a problem for each that is none."""
    found: dict[str, None] = {}
    problems = []
    stated = [(folder, "--profiles") for folder in named]
    stated += [
        (folder, VARIABLE) for folder in environ.get(VARIABLE, "").split(os.pathsep) if folder
    ]
    for folder, where in stated:
        if os.path.isdir(folder):
            found[folder] = None
        else:
            problems.append(
                Problem(
                    file="command line" if where == "--profiles" else "environment",
                    where=where,
                    message=f"there is no folder {folder!r}; name a folder of profile files",
                )
            )
    return tuple(found), problems


def files(folder: str) -> list[Path]:
    """Return the TOML files of a folder that may be profiles: scenarios are not."""
    found = sorted(Path(folder).glob("*.toml"))
    return [
        one for one in found if one.name not in NOT_PROFILES and not one.name.endswith(SCENARIO)
    ]


def scan(folder: str) -> Iterator[tuple[str, Summary | Problem]]:
    """Yield the path of each TOML file of a folder that may be a profile, with its summary.

    A file that cannot be read as one is a problem; scenarios and other tables are
    passed over.
    """
    for path in files(folder):
        found = read(path)
        if isinstance(found, Problem):
            found = attrs.evolve(found, message=f"{found.message}; left out")
        if found is not None:
            yield str(path), found
