"""What benches found, as text of at most 80 columns: the table, the growth, the failures."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence

from tests.bench.rows import DONE_WIDTH, PEER_WIDTH, Claim, Curve, Found, Outcome, Row

WIDTH = 80
LINE = f"  {{:{DONE_WIDTH}}} {{:{PEER_WIDTH}}} {{:>7}} {{:>9}} {{:>5}}"
KEY = (
    "Where at least (>=) so much is the goal, the ratio is the peer's time over ours; where at"
    " most (<=), ours over the peer's; % is a share of the cases, s are seconds."
)
QUICK = "QUICK: a smoke run, small and with few rounds. The figures say nothing."


def table(outcomes: Iterable[Outcome]) -> str:
    """Return the table of all rows, a group for each bench."""
    lines = [_line("", "peer", "ratio", "goal", "met"), "-" * WIDTH]
    for one in outcomes:
        lines += ["", one.title] if len(lines) > 2 else [one.title]
        lines += [_row(row) for row in one.rows]
    return "\n".join([*lines, "", *textwrap.wrap(KEY, WIDTH)])


def growth(curves: Sequence[Curve]) -> str:
    """Return the curves, each with its exponent: ours grows as the size to this power."""
    lines = ["Growth: size, and time relative to the smallest", "-" * WIDTH]
    for curve in curves:
        points = "  ".join(
            f"{size:,}: {_digits(time)}"
            for size, time in zip(curve.sizes, curve.times, strict=True)
        )
        lines += [
            f"  {curve.done + ', by ' + curve.size:57} exponent {curve.exponent:5.2f}",
            *textwrap.wrap(points, WIDTH, initial_indent="    ", subsequent_indent="    "),
        ]
    return "\n".join(lines)


def failures(outcomes: Iterable[Outcome]) -> Iterator[str]:
    """Yield a line for each bench that stopped, with the reason."""
    for one in outcomes:
        if one.failure is not None:
            yield f"FAILED {one.name}: {one.failure}"


def text(outcomes: Sequence[Outcome]) -> str:
    """Return everything."""
    parts = [QUICK] if any(one.quick for one in outcomes) else []
    parts.append(table(outcomes))
    curves = [curve for one in outcomes for curve in one.curves]
    if curves:
        parts.append(growth(curves))
    parts.append("\n".join(failures(outcomes)))
    return "\n\n".join(part for part in parts if part)


def said(found: Found) -> str:
    """Return a line for progress."""
    if isinstance(found, Curve):
        return f"{found.done}, by {found.size}: exponent {found.exponent:.2f}"
    claim = found.claim
    return f"{claim.done}, {claim.peer}: {shown(found.figure, claim)}"


def _line(*cells: str) -> str:
    return LINE.format(*cells).rstrip()


def _row(row: Row) -> str:
    claim = row.claim
    peer = claim.peer if row.version is None else f"{claim.peer} {_short(row.version, claim)}"
    met = {True: "yes", False: "NO", None: "-"}[row.reached]
    return _line(claim.done, peer, shown(row.figure, claim), goal(claim), met)


def _short(version: str, claim: Claim) -> str:
    """Return as much of a version as fits beside the name of the peer."""
    room = PEER_WIDTH - len(claim.peer) - 1
    while len(version) > room and "." in version:
        version = version.rpartition(".")[0]
    return version[:room]


def shown(figure: float, claim: Claim) -> str:
    """Return a figure with its unit."""
    if claim.measure == "share":
        return f"{100 * figure:.0f} %"
    return _digits(figure) + (" s" if claim.measure == "seconds" else "x")


def goal(claim: Claim) -> str:
    """Return the goal of a claim, with its unit."""
    if claim.goal is None:
        return "-"
    sign = ">=" if claim.measure in ("faster", "share") else "<="
    unit = {"share": " %", "seconds": " s"}.get(claim.measure, "x")
    return f"{sign} {100 * claim.goal if claim.measure == 'share' else claim.goal:g}{unit}"


def _digits(value: float) -> str:
    """Return three digits that count, and no more."""
    if value >= 100:
        return f"{value:,.0f}"
    return f"{value:.1f}" if value >= 10 else f"{value:.2f}" if value >= 0.1 else f"{value:.3f}"
