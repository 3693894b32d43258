"""Tables of data quality: findings of the checks, stated against summed time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.show.tables.cells import Names, rows_of
from kit.units import MISSING, estimate, h_mm, number

if TYPE_CHECKING:
    from kit.results import Results

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
    "cannot_be_said": "cannot be said",
}


def elapsed_fit(results: Results) -> Table | None:
    """Return whether power-offs fit the stated or the summed time; ``None`` if it is no matter."""
    frame = results.extra.get("elapsed_fit")
    if frame is None or frame.empty or (frame["verdict"] == "both").all():
        return None
    names = Names.of(results.session)
    reasons = dict.fromkeys(str(reason) for reason in frame["reason"] if reason)
    return Table(
        id="elapsed-fit",
        caption="Stated elapsed time against the sum of the phases: which of them a device that "
        "powered off in mid-phase fits",
        columns=(
            Column(name="Device"),
            Column(name="Phase"),
            Column(name="Stated", unit="h:mm", align="right"),
            Column(name="Summed", unit="h:mm", align="right"),
            Column(name="On in the phase, by its drain", unit="min", align="right"),
            Column(name="By the stated time", unit="min", align="right"),
            Column(name="By the summed phases", unit="min", align="right"),
            Column(name="Fits"),
        ),
        rows=tuple(
            (
                names.device[row.device],
                names.numbered(row.phase) if row.phase else MISSING,
                h_mm(row.stated_min),
                h_mm(row.summed_min),
                estimate(row.exposure_fit_min, row.exposure_fit_min_low, row.exposure_fit_min_high),
                number(row.exposure_stated_min),
                number(row.exposure_summed_min),
                _FIT_WORDS.get(row.verdict, row.verdict),
            )
            for row in rows_of(frame)
        ),
        notes=tuple(f"{reason[0].upper()}{reason[1:].rstrip('.')}." for reason in reasons),
    )
