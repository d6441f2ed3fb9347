"""A change in a log that an account does not explain, so far."""

from __future__ import annotations


class Odd:
    """A sensor that is not as the account has it; ``flagged`` where that has been told."""

    __slots__ = ("cost", "flagged", "line", "rebound", "since", "soft")

    def __init__(
        self, since: float, cost: float, *, rebound: bool, soft: bool, flagged: bool, line: int
    ) -> None:
        self.since = since
        self.cost = cost
        self.rebound = rebound
        self.soft = soft
        self.flagged = flagged
        self.line = line

    def told(self) -> Odd:
        """Return it as one that needs no more telling."""
        return Odd(
            self.since, self.cost, rebound=False, soft=self.soft, flagged=True, line=self.line
        )
