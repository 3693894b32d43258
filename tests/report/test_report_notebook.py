"""The notebook template and the functions behind its cells."""

from __future__ import annotations

import ast
import json
import re
import shutil
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import pytest

from kit import report
from kit.display import DataBundle, Picture, Prose, Table
from kit.errors import RecordError, UsageError
from kit.places import samples_folder, templates_folder
from kit.results import RESULT_COLUMNS
from kit.show.results_data import FORMAT, results_data
from kit.show.wording import sections
from tests.helpers.builders import join_runs, make_session
from tests.helpers.fake_results import fake_results, field_day, rows

if TYPE_CHECKING:
    from pathlib import Path

TEMPLATE = "session_report.ipynb"
SECTIONS = (
    "At a glance",
    "Setup",
    "Conditions",
    "Protocol",
    "Data quality",
    "State of charge over time",
    "Per-phase drain",
    "Standing after each phase",
    "Shared and rotated phases",
    "Runtimes and order",
    "What may be said",
    "Readings to check",
    "Replicates",
    "Uncertainty budget",
    "Projections",
    "Energy and power",
    "Cautions on heat and charging",
    "Limits of this comparison",
    "Revision history",
    "How to reproduce",
    "References",
)
PAGES = (
    "glance", "setup", "conditions", "protocol", "data_quality", "charge",
    "phase_drain", "standing", "shared_phases", "runtimes", "claims", "readings_to_check",
    "replicates", "uncertainty", "projections", "energy", "cautions", "limits", "revisions",
    "reproduce",
    "references",
)  # fmt: skip
ALLOWED = (
    ast.Module, ast.Import, ast.ImportFrom, ast.alias, ast.Assign, ast.Expr, ast.Call, ast.Name,
    ast.Attribute, ast.Constant, ast.keyword, ast.Load, ast.Store,
)  # fmt: skip


@pytest.fixture(scope="module")
def notebook() -> dict[str, Any]:
    """Return the template as plain data."""
    text = (templates_folder() / TEMPLATE).read_text(encoding="utf-8")
    content: dict[str, Any] = json.loads(text)
    return content


def code_cells(notebook: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the code cells."""
    return [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]


def test_code_cells_hold_imports_assignments_and_calls_only(notebook: dict[str, Any]) -> None:
    for cell in code_cells(notebook):
        for node in ast.walk(ast.parse("".join(cell["source"]))):
            assert isinstance(node, ALLOWED), f"{cell['id']}: {type(node).__name__}"


def test_the_rule_would_catch_an_operator_and_a_loop() -> None:
    for source in ("x = 1 + 1", "for x in y: f(x)", "x = y[0]", "x = a > b", "def f(): pass"):
        nodes = ast.walk(ast.parse(source))
        assert any(not isinstance(node, ALLOWED) for node in nodes), source


def test_no_output_is_stored(notebook: dict[str, Any]) -> None:
    for cell in code_cells(notebook):
        assert cell["outputs"] == []
        assert cell["execution_count"] is None
    assert "papermill" not in notebook["metadata"]


def test_the_parameters_are_plain_values(notebook: dict[str, Any]) -> None:
    tagged = [c for c in notebook["cells"] if "parameters" in c["metadata"].get("tags", ())]
    assert len(tagged) == 1
    values = {}
    for node in ast.parse("".join(tagged[0]["source"])).body:
        assert isinstance(node, ast.Assign)
        (target,) = node.targets
        assert isinstance(target, ast.Name)
        assert isinstance(node.value, ast.Constant)
        values[target.id] = node.value.value
    assert {name: type(value) for name, value in values.items()} == {
        "record": str,
        "coverage": float,
        "seed": int,
        "draws": int,
        "digits": int,
        "mix": str,
        "archive": str,
        "keep": str,
    }
    assert (samples_folder().parent / values["record"]).is_dir()


def test_sections_stand_in_order_and_each_shows_something(notebook: dict[str, Any]) -> None:
    headings = []
    for cell in notebook["cells"]:
        source = "".join(cell["source"])
        if cell["cell_type"] == "markdown":
            headings += re.findall(r"^## (.+)$", source, re.MULTILINE)
    assert tuple(headings) == SECTIONS
    shown = re.findall(
        r"report\.show\(report\.(\w+)\(results\)\)",
        "\n".join("".join(cell["source"]) for cell in code_cells(notebook)),
    )
    assert tuple(shown) == (*PAGES, "data")


def test_every_page_of_every_kind_of_session_holds_something() -> None:
    bare = make_session(devices=("a",), phases={"p1": 60}, readings={}, has_setup=False)
    for session in (field_day(), join_runs(field_day(), field_day()), bare):
        results = fake_results(session)
        for name in PAGES:
            page = getattr(report, name)(results)
            assert isinstance(page, tuple), name
            assert page, name
            assert all(isinstance(item, Table | Prose | Picture) for item in page), name


def test_ids_are_unique_in_a_whole_report() -> None:
    for session in (field_day(), join_runs(field_day(), field_day())):
        results = fake_results(session)
        items = [item for name in PAGES for item in getattr(report, name)(results)]
        ids = [item.id for item in items if isinstance(item, Table | Picture)]
        assert len(ids) == len(set(ids))


def text_of(page: tuple[Any, ...]) -> str:
    """Return all prose of a page."""
    return "\n".join(item.text for item in page if isinstance(item, Prose))


def test_a_section_without_data_says_why_in_one_sentence() -> None:
    bare = fake_results(
        make_session(devices=("a",), phases={"p1": 60}, readings={}, has_setup=False)
    )
    for name in ("charge", "phase_drain", "standing", "shared_phases", "runtimes", "replicates",
                 "projections", "energy"):  # fmt: skip
        page = getattr(report, name)(bare)
        assert len(page) == 1, name
        assert isinstance(page[0], Prose), name
        assert page[0].text.count(".") == 1, name
    assert "no setup file" in text_of(report.setup(bare))
    assert text_of(report.data_quality(fake_results())) == "The checks found nothing to remark."


def test_sentences_that_were_not_judged_are_not_called_settled() -> None:
    results = fake_results()
    assert text_of(report.claims(results)) == sections.NOT_JUDGED
    assert text_of(report.readings_to_check(results)) == sections.NOT_JUDGED
    judged = replace(
        results, extra={"claims": rows("claims"), "load_bearing": rows("load_bearing")}
    )
    assert text_of(report.claims(judged)) == sections.NO_CLAIMS
    assert text_of(report.readings_to_check(judged)) == sections.NO_LOAD_BEARING


def test_time_between_phases_is_told_under_data_quality() -> None:
    results = fake_results(field_day(gaps={"stream": 12.0}))
    assert "no phase accounts for: 12\N{NO-BREAK SPACE}min" in text_of(report.data_quality(results))


def test_the_results_for_machines_hold_every_frame_in_full() -> None:
    results = fake_results()
    found = results_data(results, kit_version="1.2.3")
    assert found["format"] == FORMAT
    assert found["kit_version"] == "1.2.3"
    assert found["session"]["fingerprint"] == results.session.fingerprint
    assert found["settings"] == {
        "coverage": 0.95, "seed": 20260516, "draws": 100_000, "digits": 1,
    }  # fmt: skip
    drains = found["tables"]["phase_drain"]
    assert drains["columns"] == list(RESULT_COLUMNS["phase_drain"])
    assert len(drains["rows"]) == len(results.phase_drain)
    assert found["tables"]["devices"]["rows"][0][:3] == ["limpet", "limpet", 1]
    assert found["tables"]["phases"]["rows"][0][:5] == [
        1, "browse", "Browsing the tide tables", "browsing", "plain",
    ]  # fmt: skip
    assert len(found["glance"]) >= 3
    json.dumps(report.data(results)._repr_mimebundle_(), allow_nan=False)
    assert isinstance(report.data(results), DataBundle)


def test_a_start_without_a_date_is_a_time_of_day_for_machines_too() -> None:
    undated = field_day(date=None, start=datetime(1, 1, 1, 9, 0))
    for session, start in ((undated, "09:00:00"), (field_day(), "2026-05-16T08:00:00+00:00")):
        found = results_data(fake_results(session), kit_version="0")
        assert found["session"]["runs"][0]["start"] == start


def test_the_command_to_repeat_the_analysis_carries_its_parameters() -> None:
    page = report.reproduce(fake_results(coverage=0.9))
    assert "rundown report FOLDER --coverage 0.9 --seed 20260516 --draws 100000" in text_of(page)
    versions = next(i for i in page if isinstance(i, Table) and i.id == "versions")
    assert {row[0] for row in versions.rows} >= {"Python", "rundown-kit", "numpy", "pandas"}
    assert "not installed" not in {row[1] for row in versions.rows}


@pytest.mark.parametrize(
    ("options", "word"),
    [
        ({"coverage": 0.5}, "coverage"),
        ({"coverage": 1.0}, "coverage"),
        ({"seed": -1}, "seed"),
        ({"draws": 10}, "draws"),
    ],
)
def test_senseless_parameters_are_refused_by_name(options: dict[str, Any], word: str) -> None:
    with pytest.raises(UsageError, match=f"^{word} is"):
        report.load("sample_sessions/full-day", **options)


def test_a_record_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no file or folder"):
        report.load(str(tmp_path / "nowhere"))


@pytest.mark.parametrize("folder", ["report_templates", "."])
def test_the_sample_is_found_from_the_template_and_from_the_root(
    folder: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(samples_folder().parent / folder)
    results = report.load("sample_sessions/scorecard", draws=10_000)
    assert results.session.id == "school-visits-2026-03-07"


def test_a_record_beside_the_working_folder_comes_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(samples_folder() / "scorecard", tmp_path / "sample_sessions" / "full-day")
    monkeypatch.chdir(tmp_path)
    results = report.load("sample_sessions/full-day", draws=10_000)
    assert results.session.id == "school-visits-2026-03-07"


def test_a_faulty_record_stops_with_a_sentence_for_each_fault(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text(
        "event,phase,point,device,elapsed_min,soc_pct\n"
        "reading,p1,start,a,0,107\n"
        "reading,p1,end,a,60,many\n",
        encoding="utf-8",
    )
    with pytest.raises(RecordError) as caught:
        report.load(str(tmp_path))
    assert str(caught.value).count("log.csv, line") == 2


def test_the_same_record_gives_the_same_pages() -> None:
    first, second = (report.load("sample_sessions/scorecard", draws=10_000) for _ in range(2))
    for name in PAGES:
        assert getattr(report, name)(first) == getattr(report, name)(second), name
