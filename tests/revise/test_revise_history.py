"""What a report says of a correction: cells, figures, statements, and whether the conclusion held.

Limpet 10 runs from 08:00 until it is seen off at 12:12, Dunlin 9 until 11:22.
"""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from kit import report
from kit.display import RESULTS_MIME, DataBundle
from kit.errors import UsageError
from kit.revise.amend import Cell, amend, amend_cells, cell_of
from kit.revise.archive import revision_files
from kit.revise.draft import DRAFT_LINE
from kit.show.results_data import results_data
from tests.helpers.short_report import make_record

if TYPE_CHECKING:
    from kit.results import Results

ON = date(2026, 6, 1)


def load(record: Path, keep: str = "revision") -> Results:
    archive = str(record.parent / "report" / "revisions")
    return report.load(str(record), draws=10_000, archive=archive, keep=keep)  # type: ignore[arg-type]  # a wrong one is a case


def kept(record: Path) -> Results:
    """Analyse a record and keep the revision, as a report does."""
    results = load(record)
    data = DataBundle(results_data(results, kit_version="0"))._repr_mimebundle_()[RESULTS_MIME]
    inputs = {s.name: Path(s.path).read_bytes() for s in results.session.sources}
    for name, content in revision_files(data, inputs, json.dumps(data).encode()).items():
        path = record.parent / "report" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return results


@pytest.fixture
def record(tmp_path: Path) -> Path:
    made = make_record(tmp_path / "day")
    kept(made)
    return made


def correct(record: Path, line: int, column: str, to: str) -> None:
    amend(record, line=line, column=column, to=to, reason="misread", by="Wren", on=ON)


def texts(page: tuple[object, ...]) -> list[str]:
    return [b.text for item in page for b in getattr(item, "blocks", ())]


def last(results: Results) -> dict[str, object]:
    return dict(results.extra["revisions"].iloc[-1])


def test_a_percentage_moves_figures_and_not_the_conclusion(record: Path) -> None:
    correct(record, 4, "soc_pct", "88")
    results = load(record)
    row = last(results)
    assert (row["number"], row["conclusion"], row["cells_changed"]) == (2, "stands", 1)
    assert str(row["sentence"]).startswith(
        "The conclusion does not change against revision 1: Limpet 10 lasted longest, as before."
    )
    moved = results.extra["moved_results"]
    # 100 − 87 became 100 − 88: one point less in the first phase; 87 − 80 became 88 − 80: one
    # more. Late readings are allowed for, up to 2 of 60 and 2 of 30 min: a few per cent on that.
    drains = moved[(moved["quantity"] == "drain_pp") & moved["detail"].str.contains("displayed")]
    assert drains["device"].tolist() == ["limpet", "limpet"]
    assert dict(zip(drains["phase"], drains["moved"], strict=True)) == pytest.approx(
        {"map": -1.0, "photo": 1.0}, rel=0.05
    )
    assert (moved["device"] != "dunlin").all()
    assert str(row["notice"]).startswith(
        "Correction of 2026-06-01 to “day” of 2026-05-16. In the record, one cell was changed: the "
        "percentage in the reading of Limpet 10 at the end of “Map and tide table” was noted as 87 "
        "and is 88 (log.csv, line 4; misread). The conclusion does not change"
    )


def test_another_winner_is_a_changed_conclusion(record: Path) -> None:
    # one correction would not pass alone: last seen on after first seen off
    correct(record, 9, "first_off", "13:22")
    correct(record, 9, "last_on", "13:20")
    results = load(record)
    row = last(results)
    assert (row["conclusion"], row["cells_changed"]) == ("changed", 2)
    assert row["sentence"] == (
        "The conclusion changes against revision 1: before, Limpet 10 lasted longest; now, "
        "Dunlin 9 lasted longest."
    )
    changed = results.extra["changed_statements"]
    assert changed["kind"].tolist()[:2] == ["leader", "lead"]
    assert any(
        text.startswith("Revision 2, corrected. The conclusion changes against revision 1")
        for text in texts(report.glance(results))
    )


def test_a_margin_that_moves_is_told_though_the_winner_stands(record: Path) -> None:
    """Limpet 10 was last seen on at 12:10, Dunlin 9 first seen off at 11:22: 48 min after.

    Clock times are cut to the minute, so that the lead is at least 47 min; with 12:40 it is 77.
    """
    correct(record, 8, "first_off", "12:42")
    correct(record, 8, "last_on", "12:40")
    results = load(record)
    assert last(results)["conclusion"] == "stands"
    (lead,) = (
        row for row in results.extra["changed_statements"].itertuples() if row.kind == "lead"
    )
    assert lead.about == "the first sentence of the report"
    assert "at least 47\xa0min longer" in lead.old
    assert "at least 1\xa0h\xa017\xa0min longer" in lead.new
    runtimes = results.extra["moved_results"].query("quantity == 'runtime_h'")
    assert runtimes["moved"].tolist() == pytest.approx([0.5])  # 12:11 → 12:41


def test_form_alone_moves_nothing_and_says_so(record: Path) -> None:
    log = record / "log.csv"
    log.write_text(log.read_text().replace(",", ";"))
    results = load(record)
    row = last(results)
    assert (row["conclusion"], row["cells_changed"], row["figures_moved"]) == ("unmoved", 0, 0)
    assert "Only the form of the files of the record changed" in str(row["notice"])


def test_a_draft_says_what_it_is_and_has_no_notice(record: Path) -> None:
    assert DRAFT_LINE in texts(report.glance(load(record, "draft")))
    assert DRAFT_LINE not in texts(report.glance(load(record)))
    correct(record, 4, "soc_pct", "88")
    draft = load(record, "draft")
    row = last(draft)
    assert (row["kept"], row["notice"]) == ("draft", "")
    shown = texts(report.glance(draft))
    assert shown.index(DRAFT_LINE) + 1 == shown.index(str(row["sentence"]))
    assert (
        texts(report.revisions(draft))[-1]
        == "A draft has no notice: it is written with the report."
    )
    table = next(item for item in report.revisions(draft) if getattr(item, "id", "") == "revisions")
    assert [r[0] for r in table.rows] == ["1", "draft"]  # type: ignore[union-attr]  # a Table
    # the figures are those that the report will have
    again = load(record)
    assert again.phase_drain.equals(draft.phase_drain)
    assert last(again)["sentence"] == row["sentence"]


def test_keep_is_one_of_two_words(record: Path) -> None:
    with pytest.raises(UsageError, match="keep is 'maybe'"):
        load(record, "maybe")


def test_a_notice_gives_a_shared_reason_once_and_names_the_revision_that_is_back(
    record: Path,
) -> None:
    cells = [cell_of("9:last_on=13:20"), cell_of("9:first_off=13:22")]
    done = amend_cells(record, cells, reason="the clock was slow.", on=ON)
    text = str(last(kept(record))["notice"])
    assert text.count("the clock was slow") == 1
    assert "(log.csv, line 9). The reason for all of them: the clock was slow. The conc" in text
    assert "whose data are those" not in text
    back = [Cell(line=9, column=c.column, to=c.old) for c in done.corrections]
    amend_cells(record, back, reason="it was right", on=ON)
    text = str(last(load(record))["notice"])
    assert re.search(
        r"is revision 3 \(data fingerprint \w{12}\), whose data are those of revision 1 again; "
        r"revision 2 \(data",
        text,
    )
