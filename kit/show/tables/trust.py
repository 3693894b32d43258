"""Tables on which trust rests: uncertainty budget, agreement, inputs, references."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from kit.claims.assumption_shifts import ASKED
from kit.display import Column, Table
from kit.drain.agreement import ON_PURPOSE
from kit.show.cells import Names, rows_of, run_numbers
from kit.show.flag_words import SOURCE_WORDS, source_text
from kit.show.tables.claim_cells import VERDICTS
from kit.show.tables.shares import SHARE_COLUMNS
from kit.units import MINUS, MISSING, NO_BREAK, interval, number, u_decimals

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from kit.results import Results
    from kit.show.references import Reference

__all__ = [
    "agreement",
    "agreements",
    "assumption_shifts",
    "assumptions",
    "budget",
    "contributions",
    "inputs",
    "parameters",
    "reference_list",
    "versions",
]


TRACE_PP = 0.005
"""A source that adds less than this to a drain has no part in it (pp)."""


def budget(results: Results) -> Table:
    """Return the sources of uncertainty: distribution, value, effect, basis, reference."""
    rows = []
    for row in rows_of(results.budget):
        effect = row.effect_pp
        source = f"{row.source}: {row.description}" if row.description else row.source
        rows.append(
            (
                source[:1].upper() + source[1:],
                row.distribution or MISSING,
                _value(row.value, row.unit),
                number(effect, u_decimals(effect)),
                row.basis or MISSING,
                row.reference or "no source",
            )
        )
    return Table(
        id="budget",
        caption="Uncertainty budget: what makes the results uncertain, and a drain by how much",
        columns=(
            Column(name="Source"),
            Column(name="Distribution"),
            Column(name="Value used", align="right"),
            Column(name="Effect, u", unit="pp", align="right", numeric_sort=True),
            Column(name="Basis"),
            Column(name="Reference"),
        ),
        rows=tuple(rows),
        notes=(
            "The effect is the standard uncertainty that the source adds to a drain, the middle "
            f"one of those that it touches; {MISSING}: it touches no drain.",
        ),
    )


def _value(value: object, unit: str) -> str:
    """Return a value with its unit; numbers in as many digits as they were given."""
    if isinstance(value, float):
        text = MISSING if value != value else f"{value:g}".replace("-", MINUS)
    else:
        text = str(value).strip() or MISSING
    return text if text == MISSING or not unit else f"{text}{NO_BREAK}{unit}"


def contributions(results: Results) -> Table | None:
    """Return what each source adds to the drains of this session; ``None`` without any."""
    frame = results.contributions
    if frame.empty:
        return None
    rows = []
    words = {"displayed": "displayed drain", "true_charge": "true-charge drain"}
    groups = {
        (str(measurand), str(source)): group
        for (measurand, source), group in frame.groupby(["measurand", "source"], sort=False)
    }
    order = {source: place for place, source in enumerate(SOURCE_WORDS)}
    for measurand, source in sorted(groups, key=lambda k: (k[0], order.get(k[1], len(order)))):
        group = groups[measurand, source]
        u = group["u_pp"].dropna()
        u = u[u > TRACE_PP]
        if u.empty:
            continue
        places = u_decimals(float(u.median()))
        rows.append(
            (
                words.get(measurand, measurand),
                source_text(source),
                str(len(u)),
                number(float(u.min()), places),
                number(float(u.median()), places),
                number(float(u.max()), places),
                number(100 * float(group["share"].median())),
            )
        )
    return Table(
        id="contributions",
        caption="What each source adds to the standard uncertainty of the drains of this session",
        columns=(
            Column(name="Measurand"),
            Column(name="Source"),
            Column(name="Drains", align="right", numeric_sort=True),
            Column(name="Least u", unit="pp", align="right", numeric_sort=True),
            Column(name="Middle u", unit="pp", align="right", numeric_sort=True),
            Column(name="Largest u", unit="pp", align="right", numeric_sort=True),
            Column(name="Middle share of u²", unit="%", align="right", numeric_sort=True),
        ),
        rows=tuple(rows),
    )


BEYOND = (
    f"{MISSING}: more than the largest of the results, so that what is apart, or a tolerance, says "
    "nothing; the CSV files have the figures."
)


def _sensible(here: pd.DataFrame, tolerances: str) -> tuple[float, pd.Series[float], bool]:
    """Return how far the ends of two intervals are apart at most, and the tolerances.

    Neither is stated beyond the largest result; whether something was left out comes third. Of two
    upper ends the lower is the result, for the other may be next to infinite.
    """
    upper = np.minimum(here["gum_high"].abs(), here["mc_high"].abs())
    largest = float(upper[upper < math.inf].max())
    gaps = [(here[f"gum_{end}"] - here[f"mc_{end}"]).abs() for end in ("low", "high")]
    apart = max(float(gap[gap < math.inf].max()) for gap in gaps)
    slack = here[tolerances].dropna()
    kept = slack[~(slack > largest)]
    too_far = apart > largest
    return math.nan if too_far else apart, kept, too_far or len(kept) < len(slack)


def _reasons(why: pd.Series[str]) -> str:
    """Return the different reasons, what they have in common said once."""
    told = [reason for reason in why.unique() if reason]
    wider = [reason.removeprefix(ON_PURPOSE) for reason in told if reason.startswith(ON_PURPOSE)]
    others = [reason for reason in told if not reason.startswith(ON_PURPOSE)]
    return "; ".join([*([ON_PURPOSE + "; ".join(wider)] if wider else []), *others]) or MISSING


def agreement(results: Results) -> Table | None:
    """Return how closed form and Monte Carlo agree, phase by phase; ``None`` without any."""
    frame = results.agreement
    if frame.empty:
        return None
    names = Names.of(results.session)
    rows, beyond = [], False
    for phase in results.session.phases:
        here = frame[frame["phase"] == phase.id]
        here = here[here["mc_low"].notna() & here["gum_low"].notna()]
        if here.empty:
            continue
        apart, slack, too_far = _sensible(here, "tolerance_pp")
        beyond |= too_far
        agrees = here["agrees"].astype(bool)
        rows.append(
            (
                names.numbered(phase.id),
                str(len(here)),
                str(int(agrees.sum())),
                number(apart, 3),
                interval(slack.min(), slack.max(), decimals=3)
                if slack.nunique() > 1
                else number(float(slack.iloc[0]) if len(slack) else math.nan, 3),
                _reasons(here.loc[~agrees, "why"]),
            )
        )
    several = " over all runs" if len(run_numbers(results)) > 1 else ""
    return Table(
        id="agreement",
        caption=f"Closed form against Monte Carlo: ends of the intervals of the drains{several}",
        columns=(
            Column(name="Phase"),
            Column(name="Intervals", align="right", numeric_sort=True),
            Column(name="Agree", align="right", numeric_sort=True),
            Column(name="Furthest apart", unit="pp", align="right", numeric_sort=True),
            Column(name="Tolerance", unit="pp", align="right", numeric_sort=True),
            Column(name="Where they do not, why"),
        ),
        rows=tuple(rows),
        notes=(
            "Agreement is judged by JCGM 101:2008, clause 8, with the tolerance of one "
            "significant digit of the standard uncertainty.",
            *((BEYOND,) if beyond else ()),
        ),
    )


def agreements(results: Results) -> Table | None:
    """Return how closed form and Monte Carlo agree for each other kind of result."""
    frame = results.extra.get("agreements")
    if frame is None or frame.empty:
        return None
    rows, beyond = [], False
    for quantity, (words, unit) in SHARE_COLUMNS.items():
        here = frame[frame["quantity"] == quantity]
        if here.empty:
            continue
        agrees = here["agrees"].astype(bool)
        apart, slack, too_far = _sensible(here, "tolerance")
        beyond |= too_far
        rows.append(
            (
                words,
                str(len(here)),
                str(int(agrees.sum())),
                _value(float(f"{apart:.2g}"), unit),
                interval(slack.min(), slack.max(), decimals=3) + f"{NO_BREAK}{unit}"
                if slack.nunique() > 1
                else _value(float(slack.iloc[0]) if len(slack) else float("nan"), unit),
                _reasons(here.loc[~agrees, "why"]),
            )
        )
    return Table(
        id="agreements",
        caption="Closed form against Monte Carlo: ends of the intervals of every other result",
        columns=(
            Column(name="Result"),
            Column(name="Intervals", align="right", numeric_sort=True),
            Column(name="Agree", align="right", numeric_sort=True),
            Column(name="Furthest apart", align="right"),
            Column(name="Tolerance", align="right"),
            Column(name="Where they do not, why"),
        ),
        rows=tuple(rows),
        notes=(
            "Each single result, with both intervals, is in the table “agreements” of the CSV "
            "files.",
            *((BEYOND,) if beyond else ()),
        ),
    )


ASSUMPTION_WORDS = {
    "reading_delay_min": ("Longest delay of a reading after its boundary", "min"),
    "display_lag_min": ("Longest lag of a display behind the charge", "min"),
    "phase_length_u_min": ("Standard uncertainty of a phase's length", "min"),
    "gauge_error_pp": ("Largest error of the gauge against true charge", "pp"),
    "gauge_correlation_pp": ("Span of charge over which that error stays alike", "pp"),
    "full_hold_max_min": ("Longest time a device may stay at 100 % while it discharges", "min"),
    "gap_rate_factor": ("Drain in unlogged time, at most × the busiest rate", ""),
    "off_pct_max": ("Highest percentage that may be shown at power-off", "%"),
    "run_unit_cv": ("Relative scatter of runtime between runs and units", ""),
    "wake_drain_pp": ("Drain of one look at a device that wakes", "pp"),
    "plausible_power_w_per_wh": ("Highest plausible power per rated energy", "W/Wh"),
    "clock_rounding": ("How noted minutes were rounded", ""),
    "off_check_min": ("Near empty, each device was looked at at least every", "min"),
}
_UNSTATED = {
    "phase_length_u_min": "from how the ends were noted",
    "off_check_min": "not stated",
}
_ASSUMPTION_VALUES = {
    "floor": "down, as a digital clock shows them",
    "nearest": "to the nearest minute",
    "unknown": "not known",
}


def assumptions(results: Results) -> Table:
    """Return the inputs that no reading gives, each with where its value came from."""
    used = results.session.assumptions
    rows = []
    for key, value in vars(used).items():
        if key == "stated":
            continue
        words, unit = ASSUMPTION_WORDS.get(key, (key, ""))
        if value is None:
            shown = _UNSTATED.get(key, MISSING)
        elif isinstance(value, str):
            shown = _ASSUMPTION_VALUES.get(value, value)
        else:
            shown = _value(float(value), unit)
        rows.append((words, shown, "setup file" if key in used.stated else "the kit's default"))
    return Table(
        id="assumptions",
        caption="Assumptions that no reading gives (type B)",
        columns=(Column(name="Assumption"), Column(name="Value used"), Column(name="From")),
        rows=tuple(rows),
    )


def assumption_shifts(results: Results) -> Table | None:
    """Return the printed verdicts that hang on an assumption; ``None`` where none was judged."""
    frame = results.extra.get("assumption_shifts")
    if frame is None or results.extra["claims"].empty:
        return None
    rows = []
    for row in rows_of(frame):
        words, unit = ASSUMPTION_WORDS[row.assumption]
        rows.append(
            (
                words, _value(row.used, unit), _value(row.tried, unit), row.statement,
                VERDICTS.get(row.verdict, row.verdict),
                VERDICTS.get(row.verdict_then, row.verdict_then),
            )
        )  # fmt: skip
    asked = ", ".join(ASSUMPTION_WORDS[name][0].lower() for name in ASKED)
    return Table(
        id="assumption-shifts",
        caption="Verdicts that would be others with half or twice an assumption",
        columns=(
            Column(name="Assumption"),
            Column(name="Used", align="right"),
            Column(name="If it were", align="right"),
            Column(name="Sentence"),
            Column(name="Verdict"),
            Column(name="Then"),
        ),
        rows=tuple(rows) or (("None of them", MISSING, MISSING, MISSING, MISSING, MISSING),),
        notes=(f"Each by itself was halved and doubled: {asked}.",),
    )


def inputs(results: Results) -> Table:
    """Return the input files with their SHA-256."""
    return Table(
        id="inputs",
        caption="Input files",
        columns=(
            Column(name="File"),
            Column(name="Size", unit="bytes", align="right", numeric_sort=True),
            Column(name="SHA-256"),
        ),
        rows=tuple((s.name, str(s.size), s.sha256) for s in results.session.sources),
    )


def parameters(results: Results) -> Table:
    """Return the parameters of the analysis."""
    settings = results.settings
    return Table(
        id="parameters",
        caption="Parameters of the analysis",
        columns=(Column(name="Parameter"), Column(name="Value")),
        rows=(
            ("coverage", f"{settings.coverage:g}"),
            ("seed", str(settings.seed)),
            ("draws, at most", str(settings.draws)),
            ("digits of u that they fix", str(settings.digits)),
            *((("mix", settings.mix),) if settings.mix else ()),
        ),
    )


def versions(packages: Mapping[str, str]) -> Table:
    """Return names and versions of what made the report."""
    return Table(
        id="versions",
        caption="Software",
        columns=(Column(name="Package"), Column(name="Version")),
        rows=tuple(packages.items()),
    )


def reference_list(references: Sequence[Reference]) -> Table:
    """Return the references with what each is used for and how it was checked."""
    return Table(
        id="references",
        caption="References",
        columns=(Column(name="Reference"), Column(name="Used for"), Column(name="Checked")),
        rows=tuple((r.text, r.used_for, r.checked) for r in references),
    )
