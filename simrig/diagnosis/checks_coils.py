"""Checks of the coil side: fuses and ohms unplugged; at coil voltage only as the last resort."""

from __future__ import annotations

from collections.abc import Iterator

from simrig.diagnosis.bench_case import Case, Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_state import needs_of
from simrig.diagnosis.measuring import RAISED, measured, stated
from simrig.sensing.chain import Part

LIVE = (
    "Coil voltage: hands and tools out, nobody near the mechanisms, only after every other check."
)


def coil_checks(ground: Ground) -> Iterator[Check]:
    """Yield the checks of coils, drivers and the interlock."""
    profile = ground.profile
    for coil in profile.coil:
        value = f"about {coil.ohms:g} ohm" if coil.ohms else "a few ohms"
        yield measured(
            ground, f"coil-{coil.id}", f"Ohms of {coil.title}, one lead off",
            [Part("coil", coil.id)], RAISED, 1.0, sound=("value", value),
            words={"open": "it does not conduct"},
        )  # fmt: skip
        yield Check(
            id=f"plunger-{coil.id}", title=f"Move the plunger of {coil.title} by hand",
            work="plugs", needs=needs_of("plugs", **RAISED), minutes=0.5,
            results={"free": "it moves freely and springs back", "stiff": "it binds"},
            caution="Pinch points: the spring throws it back.", ground=ground,
            judge=lambda case: frozenset(("free",)),
        )  # fmt: skip
        yield _kicked(ground, coil.id)
    if profile.interlock is not None and profile.interlock.fitted and profile.coil:
        yield from _interlock(ground)


def _feeding(ground: Ground, coil: str) -> dict[Part, None]:
    row = ground.profile.row("coil", coil)
    parts = {Part("coil", coil): None, Part("driver", coil): None}
    bank = ground.profile.row("coil_bank", row.bank)
    if bank is not None:
        parts[Part("coil supply", bank.id)] = None
        if stated(bank.fuse):
            parts[Part("coil fuse", str(bank.fuse))] = None
    return parts


def _kicked(ground: Ground, coil: str) -> Check:
    row = ground.profile.row("coil", coil)
    bank = ground.profile.row("coil_bank", row.bank)
    parts = frozenset(_feeding(ground, coil)) | {Part("interlock", "door")}
    cut = bank is None or bank.interlocked is not False

    def judge(case: Case) -> frozenset[str]:
        for fault in case.faults:
            part = Part(*fault.component)
            if part not in parts:
                continue
            if part.kind != "interlock" or (fault.kind.id == "interlock-open" and cut):
                return frozenset(("dead",))
        return frozenset(("kicks",))

    return Check(
        id=f"kick-{coil}", title=f"Fire {row.title} from the test, door shut, and listen",
        work="coil voltage", needs=needs_of("coil voltage", door="shut", fuses="in"), minutes=0.5,
        results={"kicks": "it kicks", "dead": "nothing moves"}, caution=LIVE, ground=ground,
        judge=judge, parts=parts,
    )  # fmt: skip


def _interlock(ground: Ground) -> Iterator[Check]:
    part = Part("interlock", "door")

    def contact(case: Case) -> frozenset[str]:
        fault = case.failed(*part)
        if fault is None:
            return frozenset(("works",))
        return frozenset(("stays-closed" if fault.kind.id == "interlock-stuck" else "stays-open",))

    def tried(case: Case) -> frozenset[str]:
        fault = case.failed(*part)
        return frozenset(
            ("fires" if fault is not None and fault.kind.id == "interlock-stuck" else "dead",)
        )

    yield Check(
        id="interlock", title="Meter across the door's interlock; work it by hand, both ways",
        work="ohms", needs=needs_of("ohms", door="open"), minutes=1.0,
        results={"works": "it opens and closes", "stays-open": "it never closes",
                 "stays-closed": "it never opens"},
        caution="An interlock is not isolation: unplugged, charge measured gone.", ground=ground,
        judge=contact, parts=frozenset((part,)),
    )  # fmt: skip
    yield Check(
        id="interlock-try", title="Try a coil from the test with the door open",
        work="coil voltage", needs=needs_of("coil voltage", door="open", fuses="in"), minutes=0.5,
        results={"dead": "no coil fires", "fires": "a coil fires"}, caution=LIVE, ground=ground,
        judge=tried, parts=frozenset((part,)),
    )  # fmt: skip
