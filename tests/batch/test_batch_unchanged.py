"""A report is skipped only if the one that is there is the one that would be made."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

import pytest

from kit.batch.unchanged import why_make
from kit.places import samples_folder, templates_folder
from kit.read.record import read_record, record_files
from kit.render.report import CHECKSUMS, TEMPLATE, render_report
from kit.results import Settings

SETTINGS = Settings(draws=10_000)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    day = tmp_path_factory.mktemp("made") / "day"
    shutil.copytree(
        samples_folder() / "scorecard", day, ignore=shutil.ignore_patterns("report", "truth")
    )
    render_report(day, day / "report", settings=SETTINGS)
    return day


@pytest.fixture
def day(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "day"))


def why(day: Path, settings: Settings = SETTINGS, epoch: str = "") -> str:
    template = templates_folder() / TEMPLATE
    return why_make(day, day / "report", settings=asdict(settings), template=template, epoch=epoch)


def manifest(change: Callable[[dict], object]) -> Callable[[Path], None]:
    def changed(day: Path) -> None:
        path = day / "report" / "manifest.json"
        data = json.loads(path.read_text(encoding="utf-8"))
        change(data)
        path.write_text(json.dumps(data), encoding="utf-8")

    return changed


def appended(name: str) -> Callable[[Path], None]:
    def changed(day: Path) -> None:
        with (day / name).open("ab") as file:
            file.write(b"\n")

    return changed


def removed(name: str) -> Callable[[Path], None]:
    def changed(day: Path) -> None:
        path = day / name
        shutil.rmtree(path) if path.is_dir() else path.unlink()

    return changed


def written(name: str, text: str = "x\n") -> Callable[[Path], None]:
    return lambda day: (day / name).write_text(text, encoding="utf-8") and None


CORRECTED = "date,by,file,line,column,old,new,reason\n,,log.csv,4,soc_pct,80,81,misread\n"

CHANGES = {
    "no report": (removed("report"), "there was no report yet"),
    "no mark": (removed(f"report/{CHECKSUMS}"), "no whole report was there"),
    "setup": (appended("session.toml"), "session.toml changed"),
    "another table": (written("corrections.csv", CORRECTED), "corrections.csv changed"),
    "setup gone": (removed("session.toml"), "made from session.toml, "),
    "pdf gone": (removed("report/report.pdf"), "report.pdf was missing"),
    "pdf": (appended("report/report.pdf"), "report.pdf was altered"),
    "a table": (appended("report/tables/runtimes.csv"), "tables/runtimes.csv was altered"),
    "manifest": (written("report/manifest.json"), "the report that was there cannot be read"),
    "manifest, a little": (appended("report/manifest.json"), "manifest.json was altered"),
    "list": (written(f"report/{CHECKSUMS}"), f"{CHECKSUMS} does not list a whole report"),
    "revision": (removed("report/revisions"), "its revision is not kept"),
    "kept input": (
        appended("report/revisions/001/inputs/session.toml"),
        "revisions/001/inputs/session.toml: found another content",
    ),
    "failed": (written("report/report.failed.ipynb"), "the last run failed"),
    "kit": (manifest(lambda m: m.update(kit_version="0.0.1")), "made with rundown-kit 0.0.1, "),
    "numpy": (manifest(lambda m: m["versions"].update(numpy="1")), "made with numpy 1, which is"),
    "template": (manifest(lambda m: m["template"].update(sha256="0")), "another template"),
    "draft": (manifest(lambda m: m.update(keep="draft")), "the report that was there is a draft"),
    "not an object": (
        lambda day: (day / "report/manifest.json").write_text("[]") and None,
        "the report that was there cannot be read",
    ),
}


@pytest.mark.slow
def test_an_unchanged_session_is_known_as_such(day: Path) -> None:
    assert why(day) == ""


@pytest.mark.slow
@pytest.mark.parametrize("name", CHANGES)
def test_every_change_calls_for_another_report(day: Path, name: str) -> None:
    change, said = CHANGES[name]
    change(day)
    assert why(day).startswith(said)


@pytest.mark.slow
def test_other_settings_times_and_names_call_for_another_report(day: Path) -> None:
    other = Settings(draws=10_000, coverage=0.9)
    assert why(day, other) == "other settings: coverage was 0.95, is 0.9"
    assert why(day, epoch="7") == "another SOURCE_DATE_EPOCH"
    renamed = day.rename(day.with_name("night"))
    assert why(renamed) == "made of day, which has another name now"


@pytest.mark.parametrize(
    "place", sorted(p.name for p in samples_folder().iterdir() if (p / "session.toml").exists())
)
def test_the_files_of_a_record_are_those_that_reading_it_reads(place: str) -> None:
    folder = samples_folder() / place
    session, _ = read_record(folder)
    assert [str(path) for path in record_files(folder)] == [s.path for s in session.sources]
    log = Path(session.sources[-1].path)
    session, _ = read_record(log)
    assert [str(path) for path in record_files(log)] == [s.path for s in session.sources]


def test_corrections_that_were_all_taken_back_are_no_change(day: Path) -> None:
    (day / "corrections.csv").write_text(
        CORRECTED + ",,log.csv,4,soc_pct,81,80,it was right\n", encoding="utf-8"
    )
    assert why(day) == ""
    (day / "corrections.csv").write_text(CORRECTED, encoding="utf-8")
    assert why(day) == "corrections.csv changed"


def test_a_report_made_with_corrections_that_cancel_is_the_same(day: Path) -> None:
    """What is skipped is what would be made: the same bytes, whether or not the rows are there."""
    before = (day / "report" / CHECKSUMS).read_bytes()
    (day / "corrections.csv").write_text(
        CORRECTED + ",,log.csv,4,soc_pct,81,80,it was right\n", encoding="utf-8"
    )
    render_report(day, day / "report", settings=SETTINGS)
    assert (day / "report" / CHECKSUMS).read_bytes() == before
    assert why(day) == ""
