"""One thing in a report that does not follow from the data inside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from kit.read.cells import LONGEST_QUOTE, quoted

__all__ = ["Difference", "cut", "cut_both"]


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


BEFORE = 30
"""So many characters before the first difference of two long texts are shown."""


def cut(value: object) -> str:
    """Return a value as it stands in a sentence, not too long; ``nothing`` for ``None``."""
    return "nothing" if value is None else _quoted(_one_line(value), 0)


def cut_both(found: object, expected: object) -> tuple[str, str]:
    """Return two values as `cut` does; of long texts, the part in which they differ.

    Examples
    --------
    >>> found, expected = cut_both("a long walk. " * 20 + "9 h", "a long walk. " * 20 + "8 h")
    >>> found
    "'…lk. a long walk. a long walk. 9 h'"
    """
    if found is None or expected is None:
        return cut(found), cut(expected)
    texts = _one_line(found), _one_line(expected)
    same = next((i for i, (a, b) in enumerate(zip(*texts, strict=False)) if a != b),
                min(map(len, texts)))  # fmt: skip
    # what fits is shown from its beginning
    start = 0 if same < LONGEST_QUOTE - BEFORE else same - BEFORE
    return _quoted(texts[0], start), _quoted(texts[1], start)


def _one_line(value: object) -> str:
    return " ".join((value if isinstance(value, str) else repr(value)).split())


def _quoted(text: str, start: int) -> str:
    return quoted(f"…{text[start:]}" if start else text)
