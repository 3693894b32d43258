"""The whole way from a record to its report, with a small notebook of the tests."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from kit.errors import NotebookError, RecordError, RenderError, UsageError
from kit.render import report as render
from kit.render.report import render_report
from kit.results import Settings
from tests.helpers.files import content
from tests.helpers.rendering import HOSTILE, NOTEBOOKS

if TYPE_CHECKING:
    from kit.render.report import Outputs

pytestmark = pytest.mark.slow

TEMPLATE = NOTEBOOKS / "small_report.ipynb"
SETTINGS = Settings(coverage=0.9, seed=7, draws=20_000)
LOG = """event,phase,point,device,elapsed_min,soc_pct
reading,video,start,D1,0,100
reading,video,start,D2,0,98
reading,video,end,D1,60,90
reading,video,end,D2,60,87
"""


def setup(label: str) -> str:
    return (
        f'[session]\nid = "day"\ntitle = "Saltmarsh day"\ndate = 2026-05-16\nlog = "log.csv"\n'
        f'[[devices]]\nid = "D1"\nlabel = {json.dumps(label)}\n'
        '[[devices]]\nid = "D2"\nlabel = "Dunlin 9"\n'
        '[[phases]]\nid = "video"\nlabel = "Video"\nplanned_min = 60\n'
    )


def make_record(folder: Path, log: str = LOG, label: str = "Limpet 10") -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "log.csv").write_text(log, encoding="utf-8")
    (folder / "session.toml").write_text(setup(label), encoding="utf-8")
    return folder


def rendered(record: Path, out: Path, template: Path = TEMPLATE) -> Outputs:
    return render_report(record, out, settings=SETTINGS, template=template)


def test_one_run_makes_all_parts_twice_the_same_in_any_folder(tmp_path: Path) -> None:
    first = make_record(tmp_path / "one" / "day {x}", label=HOSTILE[3])
    second = Path(shutil.copytree(first, tmp_path / "two" / "deeper" / "day {x}"))
    steps: list[tuple[str, float]] = []
    made = render_report(
        first, tmp_path / "out1", settings=SETTINGS, template=TEMPLATE,
        progress=lambda step, share: steps.append((step, share)),
    )  # fmt: skip
    rendered(second, tmp_path / "elsewhere" / "out2")

    files = content(tmp_path / "out1")
    assert sorted(files) == [
        "SHA256SUMS", "manifest.json", "report.html", "report.ipynb", "report.pdf", "results.json",
        "tables/devices.csv",
        "tables/quoted-cells.txt",
    ]  # fmt: skip
    assert content(tmp_path / "elsewhere" / "out2") == files
    assert str(tmp_path).encode() not in b"".join(files.values())

    results = json.loads(files["results.json"])
    assert results["settings"] == {"coverage": 0.9, "seed": 7, "draws": 20_000}
    assert results["tables"]["devices"]["rows"][0] == ["D1", HOSTILE[3]]
    assert files["tables/devices.csv"].splitlines()[1].startswith(b"D1,\"'=HYPERLINK")
    assert b"2 devices, coverage 0.9." in files["report.html"]
    assert files["report.pdf"].startswith(b"%PDF")

    assert made.findings
    assert made.html == tmp_path / "out1" / "report.html"
    assert all(p.exists() for p in (made.notebook, made.pdf, made.results, made.tables))
    shares = [share for _, share in steps]
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)
    assert "At a glance" in [step for step, _ in steps]


def test_a_csv_alone_is_reported(tmp_path: Path) -> None:
    record = make_record(tmp_path / "day") / "log.csv"
    (tmp_path / "day" / "session.toml").unlink()
    rendered(record, tmp_path / "out")
    results = json.loads((tmp_path / "out" / "results.json").read_text(encoding="utf-8"))
    assert [row[0] for row in results["tables"]["devices"]["rows"]] == ["D1", "D2"]


def test_a_record_that_does_not_pass_writes_nothing(tmp_path: Path) -> None:
    record = make_record(tmp_path / "day", LOG.replace(",87", ",107"))
    with pytest.raises(RecordError) as caught:
        rendered(record, tmp_path / "out")
    assert [f.line for f in caught.value.findings if f.severity == "error"] == [5]
    assert not (tmp_path / "out").exists()


def test_no_record_is_an_error_of_use(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no file or folder"):
        rendered(tmp_path / "nowhere" / "day", tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_failed_notebook_leaves_the_last_report_and_a_good_run_clears_it(tmp_path: Path) -> None:
    record, out = make_record(tmp_path / "day"), tmp_path / "out"
    rendered(record, out)
    before = content(out)
    failing = tmp_path / "failing.ipynb"
    source = json.loads(TEMPLATE.read_text(encoding="utf-8"))
    source["cells"][4]["source"] = ["1 / 0\n"]
    failing.write_text(json.dumps(source), encoding="utf-8")
    with pytest.raises(NotebookError, match="under the heading “At a glance”"):
        rendered(record, out, failing)
    after = content(out)
    assert json.loads(after.pop("report.failed.ipynb"))["cells"]
    assert after == before
    rendered(record, out)
    assert content(out) == before


def test_a_record_that_changes_meanwhile_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    record, out = make_record(tmp_path / "day"), tmp_path / "out"
    checked = render._checked

    def then_changed(path: Path) -> object:
        found = checked(path)
        (record / "log.csv").write_text(LOG.replace(",87", ",86"), encoding="utf-8")
        return found

    monkeypatch.setattr(render, "_checked", then_changed)
    with pytest.raises(RenderError, match="changed while its report was being made"):
        rendered(record, out)
    assert not out.exists()


def test_tables_of_an_earlier_report_go_and_other_files_stay(tmp_path: Path) -> None:
    out = tmp_path / "out"
    (out / "tables").mkdir(parents=True)
    names = ("earlier", "mine", "quoted-cells")
    for name in names:
        suffix = "txt" if name == "quoted-cells" else "csv"
        (out / "tables" / f"{name}.{suffix}").write_text("x", encoding="utf-8")
    (tmp_path / "victim.csv").write_text("x", encoding="utf-8")
    listed = {"tables": {"earlier": {}, "../../victim": {}}}
    (out / "results.json").write_text(json.dumps(listed), encoding="utf-8")
    rendered(make_record(tmp_path / "day"), out)
    assert sorted(p.name for p in (out / "tables").iterdir()) == ["devices.csv", "mine.csv"]
    assert (tmp_path / "victim.csv").exists()
