"""Folders of profile files, without packaging."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import NamedTuple

from simrig.errors import Problem

VARIABLE = "SIMRIG_PROFILES"
NOT_PROFILES = ("pyproject.toml",)
SCENARIO = ".scenario.toml"


class Summary(NamedTuple):
    """What a list of machines says about one."""

    id: str
    title: str
    balls: int


def summary(data: bytes) -> Summary:
    """Return the summary of a profile file; raise ValueError, in words, where it is none."""
    import tomllib

    text = data.removeprefix(b"\xef\xbb\xbf").decode("utf-8")
    found = tomllib.loads(text.replace("\r\n", "\n"))
    name, title = found.get("id"), found.get("title", "")
    balls = found.get("balls")
    installed = balls.get("installed") if isinstance(balls, Mapping) else None
    if not isinstance(name, str) or type(installed) is not int:
        raise ValueError("it is not a profile: id or balls.installed is missing")
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

    A file that cannot be read as one is a problem.
    """
    for path in files(folder):
        try:
            data = path.read_bytes()
            yield str(path), summary(data)
        except (OSError, ValueError, RecursionError) as error:
            text = " ".join(str(error).split())
            yield str(path), Problem(file=str(path), where="profile", message=f"{text}; left out")
