"""One reading that nobody made: whichever it is, everything is computed that can be."""

from __future__ import annotations

import csv
import shutil
from functools import cache
from pathlib import Path

import pytest

from kit import report
from kit.results import RESULT_COLUMNS

DAY = Path(__file__).parents[2] / "sample_sessions" / "full-day"


@cache
def _log() -> tuple[list[str], list[dict[str, str]]]:
    with (DAY / "log.csv").open(encoding="utf-8", newline="") as file:
        rows = csv.DictReader(file)
        return list(rows.fieldnames or ()), list(rows)


def _readings() -> list[int]:
    return [i for i, row in enumerate(_log()[1]) if row["event"] == "reading"]


def _name(i: int) -> str:
    row = _log()[1][i]
    return f"{row['phase']}-{row['point']}-{row['device']}"


@pytest.mark.slow
@pytest.mark.parametrize("left_out", _readings(), ids=_name)
def test_a_day_without_one_reading_is_analysed(left_out: int, tmp_path: Path) -> None:
    columns, rows = _log()
    shutil.copy(DAY / "session.toml", tmp_path)
    with (tmp_path / "log.csv").open("w", encoding="utf-8", newline="") as file:
        out = csv.DictWriter(file, columns)
        out.writeheader()
        out.writerows(row for i, row in enumerate(rows) if i != left_out)
    results = report.load(str(tmp_path), draws=10_000)
    for name, named in RESULT_COLUMNS.items():
        frame = results.extra[name] if name in results.extra else getattr(results, name)
        assert tuple(frame.columns) == named, name
    drains = results.phase_drain
    assert len(drains) == 2 * len(results.session.devices) * len(results.session.phases)
    # nothing drains a tablet in less than half an hour, nor runs it for longer than a month
    for end in ("rate_pp_per_h", "rate_pp_per_h_high"):
        assert not (drains[end] > 200).any()
    hours = results.projections["hours_high"]
    assert not (hours[hours < float("inf")] > 31 * 24).any()
