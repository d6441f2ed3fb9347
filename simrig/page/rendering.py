"""Templates and static files of the package, read once; everything a profile says is escaped."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from simrig.reports.paper import SIZES, Paper

if TYPE_CHECKING:
    from simrig.profile.machine import Profile
    from simrig.training.question import Question


@cache
def environment() -> Any:
    """Return the Jinja2 environment: names are escaped, and a missing one is an error."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    def source(name: str) -> str:
        return (files("simrig.page") / "templates" / name).read_text(encoding="utf-8")

    made = Environment(
        loader=FunctionLoader(source),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["drawing"] = drawing
    return made


def drawing(svg: str) -> Any:
    """Return a drawing of ours as markup; its texts were escaped when it was made."""
    from markupsafe import Markup

    return Markup(svg)


@cache
def static(name: str) -> str:
    """Return a static text file of the package."""
    return (files("simrig.page") / "static" / name).read_text(encoding="utf-8")


def render(template: str, **values: Any) -> str:
    """Return a rendered template."""
    return str(environment().get_template(template).render(**values))


def render_paper(found: Paper, *, size: str = "A4") -> str:
    """Return the printable document; ``size`` is A4 or Letter."""
    from markupsafe import Markup

    style = Markup(static("paper.css").replace("PAPER-SIZE", SIZES[size]))
    return render("paper.html", paper=found, profile=found.profile, style=style, size=size)


def render_drill(
    profile: Profile, questions: Sequence[Question], seed: int, *, size: str = "A4"
) -> str:
    """Return a question sheet for a class, its answers on a page of their own."""
    from markupsafe import Markup

    from simrig.training.question import LETTERS

    style = Markup(static("paper.css").replace("PAPER-SIZE", SIZES[size]))
    asked = [(one, list(zip(LETTERS, one.choices, strict=False))) for one in questions]
    return render("drill_paper.html", profile=profile, asked=asked, seed=seed, style=style)
