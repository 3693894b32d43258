"""The conclusions that a report prints, as what may be asked again of a changed record."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from kit.claims.judge import LEAST_URGENT
from kit.claims.table import statement_of_run
from kit.claims.verdicts import CANNOT, NOT_SUPPORTED, SUPPORTED, VERDICTS
from kit.session import columns_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd

    from kit.claims.judge import Ground
    from kit.claims.verdicts import Claim
    from kit.claims.words import Speech

__all__ = ["Conclusion", "Said", "asked_of_run", "printed", "said_again"]

_COLUMNS = (
    "run", "statement", "verdict", "priority", "code", "device_a", "device_b", "group",
)  # fmt: skip


class Conclusion(NamedTuple):
    """A sentence of the claims table, with its verdict as a position in ``VERDICTS``.

    ``run`` is the number of the run, 0 where the sentence is about all of them.
    """

    run: int
    statement: str
    verdict: int
    priority: int
    code: str
    device_a: str
    device_b: str
    group: str


class Said(NamedTuple):
    """A sentence on two devices with its verdict, first the one that is said to be ahead.

    ``device_b`` empty: on one device among all others, or among those of a group.
    """

    code: str
    device_a: str
    device_b: str
    verdict: str
    group: str = ""


def printed(claims: pd.DataFrame) -> tuple[Conclusion, ...]:
    """Return the conclusions of a claims table that a report prints.

    Parameters
    ----------
    claims
        Frame of `kit.claims.claims`. What only its full list has is left out.
    """
    rows = zip(*(column.tolist() for column in columns_of(claims, *_COLUMNS)), strict=True)
    return tuple(
        Conclusion(int(run), str(text), VERDICTS.index(str(verdict)), int(priority), *map(str, who))
        for run, text, verdict, priority, *who in rows
        if priority < LEAST_URGENT
    )


def asked_of_run(
    speech: Speech, ground: Ground, conclusions: Sequence[Conclusion]
) -> tuple[list[Claim], list[int]]:
    """Return the claims on one run that are among the conclusions, and their places there.

    Parameters
    ----------
    speech
        Names to say.
    ground
        Of the run, from `kit.claims.judge.grounds`.
    conclusions
        From `printed`.
    """
    run = ground.found.run
    places = {c.statement: place for place, c in enumerate(conclusions) if c.run == run}
    found: dict[int, Claim] = {}
    for item in ground.judged:
        place = places.get(statement_of_run(speech, run, item.claim))
        if place is not None:
            found.setdefault(place, item.claim)
    return list(found.values()), list(found)


def said_again(said: Iterable[Said], conclusions: Sequence[Conclusion]) -> list[int]:
    """Return what sentences on two devices, made from another record, say of conclusions.

    Parameters
    ----------
    said
        The sentences with their verdicts.
    conclusions
        What is asked of them; a sentence may be there the other way round.

    Returns
    -------
    list of int
        Positions in ``VERDICTS``; of what nothing was said, that of ``cannot_be_said``.

    Examples
    --------
    Said of a and b that a lasts longer, of b and c that they are tied, of a and c nothing:

    >>> said = [Said("lasts_longer", "a", "b", "supported"), Said("lasts_longer", "b", "c", "tied")]
    >>> asked = [Conclusion(0, "", 0, 1, "lasts_longer", *pair, "")
    ...          for pair in (("a", "b"), ("b", "a"), ("c", "b"), ("a", "c"))]
    >>> [VERDICTS[v] for v in said_again(said, asked)]
    ['supported', 'not_supported', 'tied', 'cannot_be_said']
    """
    verdicts = {(one.code, one.device_a, one.device_b, one.group): one.verdict for one in said}
    opposite = {SUPPORTED: NOT_SUPPORTED, NOT_SUPPORTED: SUPPORTED}
    found = []
    for asked in conclusions:
        same = verdicts.get((asked.code, asked.device_a, asked.device_b, asked.group))
        turned = verdicts.get((asked.code, asked.device_b, asked.device_a, asked.group), CANNOT)
        found.append(VERDICTS.index(opposite.get(turned, turned) if same is None else same))
    return found
