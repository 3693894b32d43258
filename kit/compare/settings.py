"""What a comparison is asked for, and what it has to assume."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from kit.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["CompareSettings", "same_pairs"]

LEAST_COVERAGE = 0.5


@dataclass(frozen=True, kw_only=True)
class CompareSettings:
    """Parameters of a comparison; all of them are printed in it.

    Parameters
    ----------
    coverage
        Probability of the intervals, and that no claim of one family is false.
    same
        Pairs of device ids that name the same unit; ``session/device`` for one session only.
    accept
        Keys of conditions that may differ (``network``, ``protocol``, …).
    session_cv
        Relative standard deviation of what a whole session adds to every runtime, for devices
        that nothing links; ``None``: such devices are not compared.
    length_tolerance_pct
        Phases of one activity are matched if their lengths differ by at most this (%).
    """

    coverage: float = 0.95
    same: tuple[tuple[str, str], ...] = ()
    accept: frozenset[str] = field(default_factory=frozenset)
    session_cv: float | None = None
    length_tolerance_pct: float = 10.0

    def __post_init__(self) -> None:
        if not LEAST_COVERAGE < self.coverage < 1.0:
            message = f"coverage is {self.coverage}; give a probability above 0.5 and below 1"
            raise UsageError(message)
        if self.session_cv is not None and not 0.0 < self.session_cv < 1.0:
            message = f"the scatter of sessions is {self.session_cv}; give a share such as 0.05"
            raise UsageError(message)
        if not 0.0 <= self.length_tolerance_pct < 100.0:
            message = f"the tolerance is {self.length_tolerance_pct}; give per cent from 0 to 99"
            raise UsageError(message)


def same_pairs(texts: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Return ``"a=b"`` texts as pairs of ids.

    Raises
    ------
    UsageError
        For a text that is not two ids with ``=`` between them.

    Examples
    --------
    >>> same_pairs(["limpet=limpet-10", " spring/a = b "])
    (('limpet', 'limpet-10'), ('spring/a', 'b'))
    """
    pairs = []
    for text in texts:
        first, equals, second = (part.strip() for part in text.partition("="))
        if not (first and equals and second) or "=" in second:
            message = f"{text!r} does not say which device is which; write FIRST=SECOND"
            raise UsageError(message)
        pairs.append((first, second))
    return tuple(pairs)
