"""Tables of data quality: findings of the checks, stated against summed time."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.runtime.elapsed import OPEN_END
from kit.show.cells import Names, rows_of
from kit.units import MISSING, estimate, h_mm, joined, number, percent, quantity

if TYPE_CHECKING:
    from kit.results import Results
    from kit.show.cells import Row

__all__ = ["data_quality", "elapsed_fit"]


def data_quality(results: Results) -> Table | None:
    """Return what the checks found, cautions first; ``None`` when they found nothing."""
    if not results.findings:
        return None
    return Table(
        id="data-quality",
        caption="Findings of the checks; none was repaired silently",
        columns=(
            Column(name="Severity"),
            Column(name="Where"),
            Column(name="Found, and what was expected"),
            Column(name="What to do"),
        ),
        rows=tuple(
            (f.severity, f.where, f"{f.found}; expected {f.expected}", f.remedy)
            for f in results.findings
        ),
    )


_FIT_WORDS = {
    "stated": "the stated elapsed time",
    "summed": "the summed phases",
    "both": "either",
    "neither": "neither",
    "agree": "the two times agree",
    "cannot_be_said": "cannot be said",
}


def elapsed_fit(results: Results) -> Table | None:
    """Return whether power-offs fit the stated or the summed time; ``None`` if it is no matter.

    It is none where the two times agree, or where nothing but the stop says how long the last
    phase was, so that they cannot differ.
    """
    frame = results.extra.get("elapsed_fit")
    if frame is None or frame.empty:
        return None
    told = frame["verdict"].isin(("stated", "summed", "both", "neither"))
    unsaid = (frame["verdict"] == "cannot_be_said") & (frame["reason"] != OPEN_END)
    if not (told | unsaid).any():
        return None
    names = Names.of(results.session)
    whose: dict[str, list[str]] = {}
    for row in rows_of(frame):
        if row.reason:
            whose.setdefault(str(row.reason), []).append(names.device[row.device])
    return Table(
        id="elapsed-fit",
        caption="Stated elapsed time against the sum of the phases: which of them a device that "
        "powered off in mid-phase fits, by the share of the phase for which it was on; in brackets "
        f"the {percent(results.settings.coverage)} interval",
        columns=(
            Column(name="Device"),
            Column(name="Phase"),
            Column(name="Stated", unit="h:mm", align="right"),
            Column(name="Summed", unit="h:mm", align="right"),
            Column(name="Share by its drain", unit="%", align="right"),
            Column(name="If all stated time was phase time", unit="%", align="right"),
            Column(name="If the phase lengths hold", unit="%", align="right"),
            Column(name="Fits"),
        ),
        rows=tuple(
            (
                names.device[row.device],
                names.numbered(row.phase) if row.phase else MISSING,
                h_mm(row.stated_min),
                h_mm(row.summed_min),
                estimate(
                    100 * row.share_fit, 100 * row.share_fit_low, 100 * row.share_fit_high,
                    decimals=0,
                ),
                _share(row.share_stated, row.exposure_stated_min),
                _share(row.share_summed, row.exposure_summed_min),
                _fits(row),
            )
            for row in rows_of(frame)
        ),
        notes=tuple(
            f"{joined(who)}: {reason.rstrip('.')}." for reason, who in whose.items()
        ),
    )  # fmt: skip


def _fits(row: Row) -> str:
    if row.verdict == "neither" and math.isnan(row.summed_min):
        return "not the phase lengths"
    return _FIT_WORDS.get(row.verdict, str(row.verdict))


def _share(share: float, minutes: float) -> str:
    """Return a share of a phase and its minutes; only these where the phase has none so long.

    Examples
    --------
    >>> from kit.units import NO_BREAK
    >>> _share(0.327, 42.4).replace(NO_BREAK, " "), _share(float("nan"), float("nan"))
    ('33 (42 min)', '–')
    """
    if math.isnan(share):
        return MISSING
    return f"{number(100 * share)} ({quantity(minutes, 'min')})"
