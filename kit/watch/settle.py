"""When a save is complete: once nothing has changed for a while."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["INCOMPLETE_S", "STILL_S", "Settler", "Stamp"]

STILL_S = 0.12
"""A file that was not touched for so long is taken for written (common practice, no source)."""

INCOMPLETE_S = 1.5
"""The same for a file that is empty or not there: programs that write anew begin so."""


@dataclass(frozen=True, kw_only=True)
class Stamp:
    """What is seen of one file.

    Parameters
    ----------
    size, mtime_ns, inode
        Its length (bytes), time of the last change (ns) and identity; all 0 if it is not there.
    digest
        SHA-256 of its content; empty if it is not there or cannot be read.
    """

    size: int = 0
    mtime_ns: int = 0
    inode: int = 0
    digest: str = ""


class Settler:
    """Tell when files that changed have come to rest.

    Parameters
    ----------
    still_s, incomplete_s
        How long nothing may change (s): as a rule, and while a file is empty that was not, or
        gone that was there.

    Examples
    --------
    A file is saved at 1.0 s; at 1.1 s it is still growing, from 1.2 s on it rests.

    >>> settler = Settler(still_s=0.15)
    >>> [settler.settled(t, {"log.csv": Stamp(size=9)}) for t in (0.0, 0.2)]
    [False, True]
    >>> [settler.settled(t, {"log.csv": Stamp(size=s)}) for t, s in
    ...  ((1.0, 4), (1.1, 7), (1.2, 7), (1.3, 7), (1.4, 7))]
    [False, False, False, True, True]
    """

    def __init__(self, *, still_s: float = STILL_S, incomplete_s: float = INCOMPLETE_S) -> None:
        self.still_s = still_s
        self.incomplete_s = incomplete_s
        self.changed_at = 0.0
        """When the last change was seen (s, by the caller's clock)."""
        self.began_at = 0.0
        """When the first change was seen since files last rested (s)."""
        self._seen: dict[str, Stamp] | None = None
        self._whole: dict[str, Stamp] = {}
        self._resting = False

    def settled(self, now: float, seen: Mapping[str, Stamp]) -> bool:
        """Take in what is seen at a time; return whether it has come to rest.

        Parameters
        ----------
        now
            Seconds on a clock that never goes back.
        seen
            Files by name.
        """
        if self._seen != dict(seen):
            if self._resting or self._seen is None:
                self.began_at = now
            self._seen = dict(seen)
            self.changed_at = now
            self._resting = False
        wait = self.incomplete_s if self._incomplete(seen) else self.still_s
        if not self._resting and now - self.changed_at >= wait:
            self._resting = True
            self._whole = dict(seen)
        return self._resting

    def _incomplete(self, seen: Mapping[str, Stamp]) -> bool:
        """Whether a file that had content has none now."""
        return any(
            stamp.size and not seen.get(name, Stamp()).size for name, stamp in self._whole.items()
        )
