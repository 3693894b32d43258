"""Results after correcting equal results from scratch; a correction taken back leaves no trace."""

from __future__ import annotations

import csv
import io
import json
import tempfile
from dataclasses import fields
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kit import report
from kit.display import RESULTS_MIME, DataBundle
from kit.errors import RecordError
from kit.revise.amend import amend
from kit.revise.archive import revision_files
from kit.revise.history import HISTORY_COLUMNS
from kit.show.results_data import results_data
from tests.helpers.records import SETUP
from tests.helpers.short_report import LOG, make_record

if TYPE_CHECKING:
    from kit.results import Results

ON = date(2026, 6, 1)
ROWS = list(csv.reader(io.StringIO(LOG)))
HEAD = ROWS[0]
CORRECTABLE = {
    "soc_pct": st.integers(60, 100).map(str),
    "clock": st.tuples(st.integers(8, 9), st.integers(0, 59)).map(lambda t: f"{t[0]:02}:{t[1]:02}"),
    "last_on": st.integers(0, 59).map(lambda m: f"12:{m:02}"),
    "first_off": st.integers(0, 59).map(lambda m: f"13:{m:02}"),
    "note": st.text(st.sampled_from('ab ,;"é'), max_size=6).map(str.strip),
    "device": st.sampled_from(["limpet", "dunlin"]),
}


@st.composite
def corrections(draw: st.DrawFn) -> list[tuple[int, str, str]]:
    """Return (line, column, new text) of one to three corrections."""
    made = []
    for _ in range(draw(st.integers(1, 3))):
        column = draw(st.sampled_from(sorted(CORRECTABLE)))
        made.append((draw(st.integers(2, len(ROWS))), column, draw(CORRECTABLE[column])))
    return made


def frames(results: Results) -> dict[str, Any]:
    """Return every frame of the results but those that tell the history."""
    named = {f.name: getattr(results, f.name) for f in fields(results) if f.name != "extra"}
    named |= {k: v for k, v in results.extra.items() if k not in HISTORY_COLUMNS}
    return {k: v for k, v in named.items() if isinstance(v, pd.DataFrame)}


def analysed(record: Path, archive: Path | None = None) -> Results:
    return report.load(str(record), draws=10_000, archive=str(archive or ""))


def kept(record: Path, archive: Path) -> Results:
    """Analyse a record and keep the revision, as a report does."""
    results = analysed(record, archive)
    data = DataBundle(results_data(results, kit_version="0"))._repr_mimebundle_()[RESULTS_MIME]
    inputs = {s.name: Path(s.path).read_bytes() for s in results.session.sources}
    for name, content in revision_files(data, inputs, json.dumps(data).encode()).items():
        path = archive.parent / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return results


def require_equal(one: Results, other: Results) -> None:
    ours, theirs = frames(one), frames(other)
    assert ours.keys() == theirs.keys()
    assert len(ours) > 10
    for name, frame in ours.items():
        pd.testing.assert_frame_equal(frame, theirs[name], check_exact=True, obj=name)
    assert one.glance == other.glance
    assert [f.sentence for f in one.findings] == [f.sentence for f in other.findings]


@pytest.mark.slow
@settings(max_examples=8, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(corrections())
def test_results_after_correcting_equal_results_from_scratch(
    asked: list[tuple[int, str, str]],
) -> None:
    with tempfile.TemporaryDirectory() as name:
        corrected = make_record(Path(name) / "a" / "day")
        rows = [list(row) for row in ROWS]
        made = 0
        for line, column, to in asked:
            if rows[line - 1][HEAD.index(column)] == to:
                continue
            try:
                amend(corrected, line=line, column=column, to=to, reason="misread", on=ON)
            except RecordError:
                continue  # a record that would not pass is not made
            rows[line - 1][HEAD.index(column)] = to
            made += 1
        scratch = Path(name) / "b" / "day"
        scratch.mkdir(parents=True)
        (scratch / "session.toml").write_text(SETUP, encoding="utf-8")
        with (scratch / "log.csv").open("w", newline="", encoding="utf-8") as file:
            csv.writer(file, lineterminator="\n").writerows(rows)
        require_equal(analysed(corrected), analysed(scratch))
        notes = corrected / "corrections.csv"
        noted = notes.read_text("utf-8") if notes.exists() else ""
        assert noted.count("misread") == made


def test_a_correction_that_is_taken_back_gives_the_first_results(tmp_path: Path) -> None:
    record = make_record(tmp_path / "day")
    first = analysed(record)
    amend(record, line=4, column="soc_pct", to="88", reason="misread", by="Wren", on=ON)
    between = analysed(record)
    assert between.session.fingerprint != first.session.fingerprint
    with pytest.raises(AssertionError):
        require_equal(first, between)
    amend(record, line=4, column="soc_pct", to="87", reason="it was right", by="Wren", on=ON)
    again = analysed(record)
    assert again.session.fingerprint == first.session.fingerprint
    require_equal(first, again)
    # no report was made between: nothing to tell, and the history is the first one too
    assert again.extra["revisions"].equals(first.extra["revisions"])
    assert "noted_corrections" not in again.extra


def test_a_correction_taken_back_after_a_report_is_told_and_the_numbers_are_the_first(
    tmp_path: Path,
) -> None:
    record, archive = make_record(tmp_path / "day"), tmp_path / "report" / "revisions"
    first = kept(record, archive)
    amend(record, line=4, column="soc_pct", to="88", reason="misread", by="Wren", on=ON)
    second = kept(record, archive)
    amend(record, line=4, column="soc_pct", to="87", reason="it was right", by="Wren", on=ON)
    third = kept(record, archive)
    assert [r.session.revision for r in (first, second, third)] == [1, 2, 3]
    require_equal(first, third)
    table = third.extra["revisions"]
    assert table["fingerprint"].tolist() == [
        r.session.fingerprint for r in (first, second, third)
    ]  # fmt: skip
    assert table["fingerprint"].iat[0] == table["fingerprint"].iat[2]
    told = third.extra["changed_cells"][["revision", "old", "new", "reason"]]
    assert told.to_numpy().tolist() == [
        [2, "87", "88", "misread"], [3, "88", "87", "it was right"],
    ]  # fmt: skip
    # what moved to the second revision moved back by as much
    there, back = second.extra["moved_results"], third.extra["moved_results"]
    assert len(there) > 0
    assert sorted(there["moved"].tolist()) == sorted((-back["moved"]).tolist())
    # with the same history the same again
    once_more = analysed(record, archive)
    for name, frame in third.extra.items():
        pd.testing.assert_frame_equal(frame, once_more.extra[name], obj=name)
