"""The option that says what the machine did: ``--complaint``."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from simrig.errors import InputError, Problem

if TYPE_CHECKING:
    from simrig.diagnosis.complaint import Complained
    from simrig.profile.machine import Profile


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the option."""
    parser.add_argument(
        "--complaint", action="append", default=[], metavar="ID",
        help="what the machine did; simrig show lists the ids",
    )  # fmt: skip


def evidence(profile: Profile, arguments: argparse.Namespace) -> tuple[Complained, ...]:
    """Return the complaints as evidence; raises InputError with every fault in them."""
    from simrig.diagnosis.complaint import Complained
    from simrig.expectation.complaints import complaint_named

    found, problems = [], []
    for name in dict.fromkeys(arguments.complaint):
        try:
            found.append(
                Complained(profile=profile, complaint=complaint_named(profile, name.strip()))
            )
        except ValueError as error:
            problems.append(Problem(file="command line", where="--complaint", message=str(error)))
    if problems:
        raise InputError(problems)
    return tuple(found)
