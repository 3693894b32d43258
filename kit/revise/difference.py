"""One thing in a report that does not follow from the data inside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from kit.read.cells import quoted

__all__ = ["Difference", "cut"]

LONGEST = 160


@dataclass(frozen=True, kw_only=True)
class Difference:
    """A place in a report, what stands there, and what should.

    Parameters
    ----------
    severity
        ``"error"``: the report does not follow from its data. ``"note"``: good to know.
    file
        Which file, as people know it.
    place
        Where in it, in words.
    found, expected
        What stands there, and what follows from the data.
    """

    severity: Literal["error", "note"] = "error"
    file: str
    place: str
    found: str
    expected: str

    @property
    def sentence(self) -> str:
        """Return the difference as one line.

        Examples
        --------
        >>> Difference(file="report.html", place="table runtimes, row Limpet 10",
        ...            found="'9.46'", expected="'9.36'").sentence
        "report.html, table runtimes, row Limpet 10: found '9.46'; expected '9.36'."
        """
        where = f"{self.file}, {self.place}" if self.place else self.file
        return f"{where}: found {self.found}; expected {self.expected}."


def cut(value: object) -> str:
    """Return a value as it stands in a sentence, not too long; ``nothing`` for ``None``."""
    if value is None:
        return "nothing"
    text = value if isinstance(value, str) else repr(value)
    text = " ".join(text.split())
    return quoted(text if len(text) <= LONGEST else text[: LONGEST - 1] + "…")
