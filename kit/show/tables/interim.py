"""The state of a session that is not over: what is left, and when who is expected to power off."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

from kit.display import Block, Column, Prose, Table
from kit.plan.rest_of_day import rest_of_day
from kit.show.cells import Names
from kit.show.wording.interim import interim_sentences, moment_words
from kit.units import MISSING, number, percent

if TYPE_CHECKING:
    from kit.results import Results

__all__ = ["interim"]


def interim(results: Results) -> tuple[Prose, Table] | None:
    """Return what is left of the day; ``None`` when the session is over."""
    session = results.session
    rest = rest_of_day(session)
    if rest is None:
        return None
    names = Names.of(session)
    heading = Block(kind="heading", text="Interim: what is left of the day")
    bullets = (Block(kind="bullet", text=text) for text in interim_sentences(session, rest))
    rows = []
    for e in rest.devices:
        known = isfinite(e.expected_min)
        rows.append(
            (
                names.device[e.device],
                number(e.soc_pct) if isfinite(e.soc_pct) else MISSING,
                moment_words(session, rest.run, e.seen_min) if isfinite(e.seen_min) else MISSING,
                moment_words(session, rest.run, e.expected_min) if known else MISSING,
                moment_words(session, rest.run, e.low_min) if known else MISSING,
                moment_words(session, rest.run, e.high_min) if known else MISSING,
                percent(round(e.p_next, 2)) if known else MISSING,
            )
        )
    table = Table(
        id="interim",
        caption="Devices that are on, the one expected to power off first on top; "
        f"{percent(rest.coverage)} window",
        columns=(
            Column(name="Device"),
            Column(name="Last", unit="%", align="right", numeric_sort=True),
            Column(name="At", align="right"),
            Column(name="Expected off", align="right"),
            Column(name="Not before", align="right"),
            Column(name="Not after", align="right"),
            Column(name="Next", align="right"),
        ),
        rows=tuple(rows),
        notes=(
            "From the rates of this session so far and the phases that are planned; an activity "
            "that was not measured yet is taken as like the others, within ± 20 % or more. "
            "Next: the chance to be the next one to power off.",
        ),
    )
    return Prose(blocks=(heading, *bullets)), table
