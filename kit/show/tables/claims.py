"""Tables of the sentences that people want to say, and of the readings on which they hang."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.show.cells import Names, rows_of, run_numbers
from kit.show.tables.claim_cells import VERDICTS, margin, statement
from kit.units import NO_BREAK, count, joined

if TYPE_CHECKING:
    import pandas as pd

    from kit.results import Results

__all__ = ["claims", "load_bearing", "robust_claims"]

MOST_READINGS = 12
"""Readings to check that are printed; the rest is in the CSV tables."""
MOST_ROBUST = 20
"""Sentences that no slip changes that are printed; the rest is in the CSV tables."""
LISTED = 2
"""Lowest priority that is printed; the rest is in the CSV tables."""

KINDS = {
    "this_session": "What happened in this session: these units, this day",
    "kind_of_device": "What may be said of the kind of device: another unit, another day",
}
SUBJECTS = {
    "longest": "runtimes",
    "first_in_group": "runtimes",
    "outlasted": "runtimes",
    "longer_on_average": "mean runtimes",
    "longest_on_average": "mean runtimes",
    "drained_least": "drains",
    "drained_less": "drains",
    "least_doing": "drains by activity",
    "gained": "drains",
    "led": "percentages left",
    "ahead_after": "percentages left",
    "tied_after": "percentages left",
    "lasts_longer": "kinds of device",
}
"""What the sentences of each code are about."""
ASKED = (
    "Asked of every sentence in the tables of sentences, and of who lasts longest on a mix, for "
    "each percentage at the bounds of a phase, at a swap and at the stop, and each time that "
    "bounds a power-off: a number one or ten off, a digit taken for one that looks like it, two "
    "digits exchanged, as far as what was noted before and after it allows."
)


def _frame(results: Results, name: str) -> pd.DataFrame | None:
    frame = results.extra.get(name)
    return None if frame is None or frame.empty else frame


def claims(results: Results) -> tuple[Table, ...]:
    """Return the sentences with verdict, margin, reason and a wording that is true, by kind."""
    frame = _frame(results, "claims")
    if frame is None:
        return ()
    tables = []
    for kind, caption in KINDS.items():
        here = frame[(frame["kind"] == kind) & (frame["priority"] <= LISTED)]
        if here.empty:
            continue
        tables.append(
            Table(
                id=f"claims-{kind.replace('_', '-')}",
                caption=caption,
                columns=(
                    Column(name="Sentence"),
                    Column(name="Verdict"),
                    Column(name="Margin", align="right"),
                    Column(name="Why"),
                    Column(name="A wording that is true"),
                ),
                rows=tuple(
                    (
                        statement(row),
                        VERDICTS.get(row.verdict, row.verdict),
                        margin(row),
                        row.reason,
                        row.wording,
                    )
                    for row in rows_of(here)
                ),
                notes=(*_brackets(here), *_methods(here), *_not_listed(frame, kind)),
            )
        )
    return tuple(tables)


def _not_listed(frame: pd.DataFrame, kind: str) -> tuple[str, ...]:
    """Return how many sentences of a kind the tables leave out, and where they are."""
    rest = frame[(frame["kind"] == kind) & (frame["priority"] > LISTED)]
    if rest.empty:
        return ()
    supported = int((rest["verdict"] == "supported").sum())
    some = f", {count(supported, 'supported one')} among them," if supported else ""
    verb = "is" if len(rest) == 1 else "are"
    text = f"{count(len(rest), 'further sentence')}{some} {verb} in tables/claims.csv."
    return (_first_upper(text),)


def _methods(frame: pd.DataFrame) -> tuple[str, ...]:
    """Return by which rule each sort of sentence was judged."""
    found: dict[tuple[str, str], None] = {}
    # who ran longest of several is judged by the pairs, each by its own rule
    pairs = (frame["code"] == "longer_on_average").any()
    for row in rows_of(frame):
        if row.method and not (pairs and row.code == "longest_on_average"):
            found[SUBJECTS.get(row.code, "Others"), str(row.method)] = None
    subjects: dict[str, list[str]] = {}
    for subject, method in found:
        subjects.setdefault(method, []).append(subject)
    return tuple(
        f"{_first_upper(joined(each))}, {'each ' if len(each) > 1 else ''}judged by: {method}."
        for method, each in subjects.items()
    )


def _first_upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _brackets(frame: pd.DataFrame) -> tuple[str, ...]:
    """Return what the brackets of the margins hold."""
    codes = set(frame["code"])
    if (frame["kind"] == "kind_of_device").all():
        return (
            "Margin: the difference, at equal battery health where the reason says so, and what is "
            "needed for that pair by the rule below.",
        )
    texts = []
    if codes & {"longest", "first_in_group", "outlasted"}:
        texts.append("of runtimes bounds that always hold")
    if codes & {"longer_on_average", "longest_on_average"}:
        texts.append("of mean runtimes the interval by the rule below")
    if (frame["unit_symbol"] == "pp").any():
        texts.append(
            "of percentages the difference less and plus what is needed by the rule below: where 0 "
            "is within, no order is shown"
        )
    return (f"Margin: in brackets, {'; '.join(texts)}.",) if texts else ()


def load_bearing(results: Results) -> Table | None:
    """Return the readings to look at again before publishing; ``None`` if none bears a claim."""
    frame = _frame(results, "load_bearing")
    if frame is None:
        return None
    names = Names.of(results.session)
    several = len(run_numbers(results)) > 1
    rows = []
    readings = results.session.readings
    changes = set(readings.loc[readings["kind"] == "tick", "line"].tolist())
    printed = _printed(results)
    found = frame.drop_duplicates("rank")
    for row in rows_of(found.head(MOST_READINGS)):
        where = f"{names.device.get(row.device, row.device)}, {row.what}"
        if row.what == "reading" and row.line in changes:
            place = f" in {names.numbered(row.phase)}" if row.phase else ""
            where = f"{names.device.get(row.device, row.device)}, change of the display{place}"
        elif row.point:
            place = names.numbered(row.phase) if row.phase else ""
            of = "" if row.point == "inside" else "of "
            where += f", {row.point}" + (f" {of}{place}" if row.what.endswith("reading") else "")
        proof = [f"line{NO_BREAK}{row.line}" if row.line > 0 else "", str(row.evidence)]
        verdict, instead = (VERDICTS.get(v, v) for v in (row.verdict, row.verdict_if_misread))
        rows.append(
            (
                where + (f", run {row.run}" if several else ""),
                row.noted,
                f"{row.instead} ({row.slip})",
                f"{printed.get(row.statement, row.statement)}: {verdict} → {instead}",
                str(row.affected),
                ", ".join(p for p in proof if p),
            )
        )
    return Table(
        id="load-bearing",
        caption="Readings that bear a conclusion, most dangerous first",
        columns=(
            Column(name="Reading"),
            Column(name="Noted", align="right"),
            Column(name="If it was"),
            Column(name="would change"),
            Column(name="Sentences that hang on it", align="right", numeric_sort=True),
            Column(name="To be seen in"),
        ),
        rows=tuple(rows),
        notes=(ASKED, *_further(len(found) - MOST_READINGS, ", no more dangerous,")),
    )


def _printed(results: Results) -> dict[str, str]:
    """Return the sentences of the claims as the tables print them."""
    frame = _frame(results, "claims")
    return {} if frame is None else {row.statement: statement(row) for row in rows_of(frame)}


def _further(more: int, what: str = "") -> tuple[str, ...]:
    """Return how many rows the table leaves out, and what is said of them."""
    if more <= 0:
        return ()
    verb = "is" if more == 1 else "are"
    return (_first_upper(f"{count(more, 'further one')}{what} {verb} in the CSV tables."),)


def robust_claims(results: Results) -> Table | None:
    """Return the sentences whose verdict no single slip changes; ``None`` if there are none."""
    frame = _frame(results, "robust_claims")
    if frame is None:
        return None
    printed = _printed(results)
    told = frame[frame["verdict"] != "cannot_be_said"]
    silent = len(frame) - len(told)
    if told.empty:
        return None
    rest = f"What cannot be said stays so as well: {count(silent, 'sentence')}."
    return Table(
        id="robust-claims",
        caption="Sentences whose verdict no single slip changes",
        columns=(Column(name="Sentence"), Column(name="Verdict")),
        rows=tuple(
            (printed.get(row.statement, row.statement), VERDICTS.get(row.verdict, row.verdict))
            for row in rows_of(told.head(MOST_ROBUST))
        ),
        notes=(*_further(len(told) - MOST_ROBUST), *((rest,) if silent else ())),
    )
