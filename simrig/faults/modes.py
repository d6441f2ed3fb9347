"""What can break, by kind of part: one table, which plug-ins extend.

Each row says which kind of part fails, what the failure does to its links, and
how often, as odds against the part being sound.  The odds are weights of common
practice, no source, unless a row says otherwise; a profile scales them with
``priors``, a shop's own record replaces them.
"""

from __future__ import annotations

from typing import Final

import attrs

EFFECTS: Final = frozenset(
    (
        "breaks",
        "opens",
        "forces",
        "inverts",
        "exchanges leads",
        "exchanges plugs",
        "opens diode",
        "shorts diode",
        "reverses diode",
        "opens line",
        "cuts line",
        "holds line",
        "bridges lines",
        "exchanges lines",
        "kicks nothing",
        "moves balls",
    )
)
"""What a failure can do.

``breaks``: the part no longer carries, and its link does what the chain says a
break does; ``opens``: nothing passes; ``forces``: passes always; ``inverts``: works the
other way round; the others concern leads, diodes, lines of the matrix, coils and
balls.
"""


@attrs.frozen(kw_only=True)
class FaultKind:
    """One way in which one kind of part fails.

    ``part`` is the kind of part as the table of links names it.  ``odds``
    weigh it against a sound part; ``beside_kicker`` multiplies them where the
    sensor's parts stand beside a kicker.  An ``intermittent`` fault shows at one
    time and not at another.  ``why`` says in one clause what it does to the
    signal; ``repair`` what is done about it.
    """

    id: str = attrs.field(validator=attrs.validators.matches_re(r"[a-z0-9]+(-[a-z0-9]+)*"))
    title: str = attrs.field(validator=attrs.validators.min_len(1))
    part: str
    effect: str = attrs.field(validator=attrs.validators.in_(EFFECTS))
    odds: float = attrs.field(validator=(attrs.validators.gt(0), attrs.validators.lt(10)))
    beside_kicker: float = attrs.field(default=1.0, validator=attrs.validators.gt(0))
    intermittent: bool = False
    only: str = ""
    """Limits the kind to sensors of a technology, or (``lugs``) to those with a lug for each state."""
    why: str
    repair: str


def _kind(
    id: str,  # noqa: A002
    part: str,
    effect: str,
    odds: float,
    title: str,
    why: str,
    repair: str,
    *,
    beside: float = 1.0,
    intermittent: bool = False,
    only: str = "",
) -> FaultKind:
    return FaultKind(
        id=id,
        part=part,
        effect=effect,
        odds=odds,
        title=title,
        why=why,
        repair=repair,
        beside_kicker=beside,
        intermittent=intermittent,
        only=only,
    )


FAULT_KINDS: Final = (
    # Emitter side.
    _kind("emitter-dead", "emitter", "breaks", 2e-3, "emitter LED dead",
          "it gives no light", "fit a new emitter", beside=1.5),
    _kind("emitter-shorted", "emitter", "breaks", 4e-4, "emitter LED shorted",
          "it gives no light", "fit a new emitter"),
    _kind("resistor-lead-broken", "resistor", "breaks", 2e-3, "series resistor's lead broken",
          "its emitter gets no current", "fit a new resistor of the same value", beside=6.0),
    _kind("emitter-joint-cracked", "emitter joint", "breaks", 1e-3, "solder joint cracked",
          "its emitter gets no current", "resolder the joint", beside=3.0),
    _kind("emitter-joint-loose", "emitter joint", "breaks", 1e-3, "solder joint making and breaking",
          "its emitter gets current at one time and not at another", "resolder the joint",
          beside=3.0, intermittent=True),
    _kind("beam-dirty", "beam", "breaks", 3e-3, "beam dirty",
          "too little light reaches the receiver at times", "wipe emitter and receiver",
          intermittent=True),
    _kind("beam-misaligned", "beam", "breaks", 2e-3, "beam out of line",
          "the light misses the receiver", "bend emitter and receiver back into line", beside=1.5),
    _kind("beam-obstructed", "beam", "breaks", 1.5e-3, "something in the beam",
          "the light is blocked without a ball", "take the object out"),
    _kind("bank-return-open", "bank return", "breaks", 1e-3, "common return of the bank open",
          "no emitter of the bank gets current", "mend the return wire"),
    # Supplies, fuses, plugs: everything behind them goes together.
    _kind("supply-lost", "supply", "breaks", 1e-3, "supply lost",
          "everything it feeds is without current", "trace the supply back to its source"),
    _kind("fuse-blown", "fuse", "breaks", 1.5e-3, "fuse blown",
          "everything behind it is without current",
          "find why it blew, then fit one of the same value and kind"),
    _kind("plug-off", "connector", "breaks", 1.5e-3, "plug off or not making",
          "nothing passes it", "reseat the plug"),
    _kind("plug-loose", "connector", "breaks", 1e-3, "plug loose",
          "it makes at one time and not at another", "reseat the plug, look at its pins",
          intermittent=True),
    # Receiver side.
    _kind("receiver-dead", "receiver", "breaks", 1.5e-3, "receiver dead",
          "it sees no light", "fit a new receiver"),
    _kind("receiver-flooded", "receiver", "forces", 6e-4, "receiver shorted or flooded by light",
          "it sees light always", "shade it; if that changes nothing, fit a new receiver"),
    _kind("board-dead", "board", "breaks", 1e-3, "receiver board dead",
          "its outputs do what they do without supply", "repair or exchange the board"),
    _kind("channel-open", "channel", "opens", 8e-4, "output channel never closes",
          "its contact stays open", "repair the channel on the board"),
    _kind("channel-on", "channel", "forces", 6e-4, "output channel always on",
          "its contact stays closed", "repair the channel on the board"),
    # Contacts.
    _kind("contact-stuck-closed", "contact", "forces", 2e-3, "contact stuck closed",
          "it is closed whatever works it", "free or adjust the contact"),
    _kind("contact-stuck-open", "contact", "opens", 2e-3, "contact never closes",
          "it stays open whatever works it", "clean and adjust the contact"),
    _kind("contact-gap-wide", "contact", "opens", 1.5e-3, "contact gap too wide",
          "it misses at times", "adjust the gap", intermittent=True),
    _kind("contact-wrong-lug", "contact", "inverts", 5e-4, "wired to the wrong lug",
          "it reads the other way round", "move the wire to the other lug", only="lugs"),
    # Inductive sensors.
    _kind("set-too-sensitive", "sensing head", "forces", 2e-3, "sensitivity set too high",
          "it is on without a ball", "set the pot again"),
    _kind("set-too-coarse", "sensing head", "opens", 2e-3, "sensitivity set too low",
          "it misses balls", "set the pot again"),
    _kind("set-marginal", "sensing head", "opens", 1.5e-3, "sensitivity set at the edge",
          "it drifts with heat and supply", "set the pot again", intermittent=True),
    _kind("output-open", "output", "opens", 8e-4, "sensor's output never closes",
          "its output stays open", "fit a new sensor"),
    _kind("output-on", "output", "forces", 5e-4, "sensor's output always on",
          "its output stays closed", "fit a new sensor"),
    # Wires and inputs.
    _kind("wire-open", "wire", "breaks", 1.5e-3, "wire or pin open",
          "nothing arrives at the address", "mend the wire, crimp a new pin"),
    _kind("leads-exchanged", "leads", "exchanges leads", 5e-4, "two leads exchanged",
          "each arrives at the other's address", "change the two leads over"),
    _kind("plugs-exchanged", "plugs", "exchanges plugs", 5e-4, "two plugs exchanged",
          "each side arrives where the other should", "change the two plugs over"),
    _kind("return-open", "common return", "breaks", 1e-3, "common return open",
          "nothing on it conducts", "mend the return wire"),
    _kind("input-open", "input", "opens", 6e-4, "input of the controller dead",
          "it reads open always", "repair the input"),
    _kind("input-shorted", "input", "forces", 6e-4, "input of the controller shorted",
          "it reads closed always", "find the short, then repair the input"),
    _kind("input-board-dead", "input board", "breaks", 8e-4, "input board dead",
          "its inputs read open", "repair or exchange the board"),
    # Diodes and lines of the matrix.
    _kind("diode-open", "diode", "opens diode", 1e-3, "diode open",
          "its switch never reads closed", "fit a new diode, banded end as before"),
    _kind("diode-shorted", "diode", "shorts diode", 8e-4, "diode shorted",
          "the signal passes back and makes phantoms", "fit a new diode, banded end as before"),
    _kind("diode-backwards", "diode", "reverses diode", 2e-4, "diode fitted backwards",
          "its switch never reads closed", "turn the diode round"),
    _kind("past-diode", "diode wiring", "shorts diode", 2e-4, "switch wired past its diode",
          "the signal passes back and makes phantoms", "move the wire behind the diode"),
    _kind("column-open", "column", "opens line", 6e-4, "column open at the controller",
          "the whole column reads open", "plug, wire, then driver of the column"),
    _kind("row-open", "row", "opens line", 6e-4, "row open at the controller",
          "the whole row reads open", "plug, wire, then input of the row"),
    _kind("column-broken", "column piece", "cuts line", 3e-4, "column wire broken between two switches",
          "what lies beyond the break reads open", "mend the wire there"),
    _kind("row-broken", "row piece", "cuts line", 3e-4, "row wire broken between two switches",
          "what lies beyond the break reads open", "mend the wire there"),
    _kind("column-held", "column", "holds line", 4e-4, "column driver always on",
          "every switch closed in it closes its whole row", "repair the driver"),
    _kind("row-held", "row", "holds line", 4e-4, "row input always on",
          "the whole row reads closed", "find the short, then repair the input"),
    _kind("column-shorted", "column", "opens line", 3e-4, "column shorted",
          "the whole column reads open", "find the short"),
    _kind("row-shorted", "row", "opens line", 3e-4, "row shorted to its idle level",
          "the whole row reads open", "find the short"),
    _kind("columns-bridged", "columns", "bridges lines", 2e-4, "two columns bridged",
          "each shows the other's closures", "find the bridge"),
    _kind("rows-bridged", "rows", "bridges lines", 2e-4, "two rows bridged",
          "each shows the other's closures", "find the bridge"),
    _kind("columns-exchanged", "columns", "exchanges lines", 2e-4, "two columns exchanged",
          "each reads what belongs to the other", "change the two wires over"),
    _kind("rows-exchanged", "rows", "exchanges lines", 2e-4, "two rows exchanged",
          "each reads what belongs to the other", "change the two wires over"),
    # The coil side: the readings are right, the balls do not move.
    _kind("coil-open", "coil", "kicks nothing", 6e-4, "coil open",
          "its kick moves no ball; the readings are right", "fit a new coil"),
    _kind("driver-dead", "driver", "kicks nothing", 6e-4, "coil's driver dead",
          "its kick moves no ball; the readings are right", "repair the driver"),
    _kind("coil-fuse-blown", "coil fuse", "kicks nothing", 1.2e-3, "fuse of a coil bank blown",
          "no coil of the bank moves a ball; the readings are right",
          "find why it blew, then fit one of the same value and kind"),
    _kind("coil-supply-lost", "coil supply", "kicks nothing", 6e-4, "coil supply lost",
          "no coil of the bank moves a ball; the readings are right", "trace the supply"),
    _kind("interlock-open", "interlock", "kicks nothing", 1e-3, "door interlock open",
          "no coil that it cuts moves a ball; the readings are right",
          "adjust the interlock, then try it both ways"),
    _kind("interlock-stuck", "interlock", "kicks nothing", 3e-4, "door interlock stuck closed",
          "coils stay live with the door open; the readings are right",
          "replace the interlock, then try it both ways"),
    # Balls: the readings are right, the expectation was wrong.
    _kind("ball-missing", "balls", "moves balls", 2e-2, "a ball is missing",
          "there is one ball less", "find the ball, or put one in"),
    _kind("ball-extra", "balls", "moves balls", 4e-3, "one ball too many",
          "there is one ball more", "take one ball out"),
    _kind("ball-hung", "way", "moves balls", 1e-3, "a ball hangs on the way",
          "it has not arrived", "free the ball, then find what held it"),
    _kind("balls-stacked", "stack", "moves balls", 4e-3, "two balls stacked at the kicker",
          "one sits on the other, in front of the jam beam",
          "lift one off with a stick, then find why"),
    _kind("balls-magnetised", "row of balls", "moves balls", 1e-3, "two magnetised balls",
          "they hold on to each other and leave a gap", "put in new balls"),
    _kind("trough-dented", "dent", "moves balls", 8e-4, "trough dented",
          "a ball stays in the dent and leaves a gap", "level the dent"),
)  # fmt: skip
"""Every kind of fault that is known without plug-ins."""
