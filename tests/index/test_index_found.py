"""Reports and records found in folders, whole, damaged, changed and elsewhere."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

import pytest

from kit.index.found import CHANGED, NO_REPORT, found_entries
from kit.revise.draft import draft_folder
from tests.helpers.plain_results import plain_results, put_report

if TYPE_CHECKING:
    from pathlib import Path

    from kit.index.entry import Entry

LOG = b"event,device,soc_pct\n"
FILES = ("report.html", "report.pdf")


def source(data: bytes = LOG, name: str = "log.csv") -> dict[str, Any]:
    return {"name": name, "sha256": hashlib.sha256(data).hexdigest(), "size": len(data)}


def record(folder: Path, data: bytes = LOG) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "log.csv").write_bytes(data)
    return folder


def only(folder: Path) -> Entry:
    (entry,) = found_entries([folder], folder)
    return entry


def test_reports_come_newest_first_then_by_title_then_records_without_one(tmp_path: Path) -> None:
    for name, date, title in (
        ("a", "2026-01-01", "sand"), ("b", "2026-05-16", "Mud"), ("c", "2026-05-16", "kelp"),
        ("d", None, "undated"),
    ):  # fmt: skip
        put_report(tmp_path / name / "report", plain_results(title=title, date=date), files=FILES)
    record(tmp_path / "e")
    entries = found_entries([tmp_path], tmp_path)
    assert [(e.title, e.state) for e in entries] == [
        ("kelp", "report"), ("Mud", "report"), ("sand", "report"), ("undated", "report"),
        ("e", "no_report"),
    ]  # fmt: skip
    assert entries[0].place == "c/report"
    assert entries[0].links == (
        ("HTML", "c/report/report.html"), ("PDF", "c/report/report.pdf"),
        ("JSON", "c/report/results.json"),
    )  # fmt: skip
    assert entries[-1].headline == NO_REPORT


def test_links_lead_from_the_page_to_the_files_and_stand_any_name(tmp_path: Path) -> None:
    put_report(tmp_path / 'se#a "s?on" 50%' / "report", plain_results(), files=FILES)
    page = tmp_path / "pages" / "here"
    page.mkdir(parents=True)
    (entry,) = found_entries([tmp_path], page)
    # RFC 3986, 2.1: # is %23, space %20, " is %22, ? is %3F, % is %25
    start = "../../se%23a%20%22s%3Fon%22%2050%25/report/"
    assert [address for _, address in entry.links] == [
        start + name for name in ("report.html", "report.pdf", "results.json")
    ]


def test_only_files_that_are_there_are_linked(tmp_path: Path) -> None:
    put_report(tmp_path / "report", plain_results(), files=["report.pdf"])
    assert [name for name, _ in only(tmp_path).links] == ["PDF", "JSON"]


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b'{"format": "rundown-results/1", "ses', "it is no JSON, or was cut short"),
        (b"", "it is no JSON, or was cut short"),
        (b"\xff\xfe\x00", "it is no JSON, or was cut short"),
        (b"[" * 200_000, "it is no JSON, or was cut short"),
        (b"1" * 10_000, "it is no JSON, or was cut short"),
        (b"[]", "does not say that it holds the results"),
        (b'{"format": "rundown-results/7"}', "its layout is 'rundown-results/7'"),
    ],
)
def test_results_that_cannot_be_read_are_listed_with_the_reason(
    tmp_path: Path, content: bytes, why: str
) -> None:
    put_report(tmp_path / "mud" / "report", {}, files=FILES)
    (tmp_path / "mud" / "report" / "results.json").write_bytes(content)
    record(tmp_path / "mud")
    entry = only(tmp_path)
    assert (entry.state, entry.title) == ("unreadable", "mud")
    assert entry.headline.startswith("results.json cannot be read: ")
    assert why in entry.headline
    assert [name for name, _ in entry.links] == ["HTML", "PDF", "JSON"]


def test_a_report_that_lost_its_results_is_listed(tmp_path: Path) -> None:
    folder = put_report(tmp_path / "mud" / "report", {}, files=FILES)
    (folder / "results.json").unlink()
    entry = only(tmp_path)
    assert (entry.state, entry.headline) == (
        "unreadable", "results.json cannot be read: it is not there.",
    )  # fmt: skip


def test_what_the_kit_wrote_of_something_else_is_no_session(tmp_path: Path) -> None:
    put_report(tmp_path / "over-sessions", {"format": "rundown-something/1"})
    assert found_entries([tmp_path], tmp_path) == ()


def test_a_draft_is_no_report(tmp_path: Path) -> None:
    home = record(tmp_path / "a-draft")
    put_report(draft_folder(home / "report"), plain_results(), files=FILES)
    assert [(e.state, e.place) for e in found_entries([tmp_path], tmp_path)] == [
        ("no_report", "a-draft")
    ]
    put_report(home / "report", plain_results(), files=FILES)
    assert [e.place for e in found_entries([tmp_path], tmp_path)] == ["a-draft/report"]


def test_a_folder_that_cannot_be_looked_into_is_listed(tmp_path: Path) -> None:
    gone = tmp_path / "gone"
    (entry,) = found_entries([gone], tmp_path)
    assert (entry.state, entry.place) == ("unreadable", "gone")
    assert entry.headline == "This folder cannot be looked into: No such file or directory."


def test_hidden_folders_and_the_inside_of_a_report_are_left_alone(tmp_path: Path) -> None:
    report = put_report(tmp_path / "mud" / "report", plain_results(), files=FILES)
    put_report(report / "revisions" / "001", plain_results(title="earlier"))
    record(report / "revisions" / "001" / "inputs")
    put_report(tmp_path / ".rundown-x" / "new", plain_results(title="half made"))
    assert only(tmp_path).title == "Mud flats"


def test_a_folder_reached_twice_is_listed_once(tmp_path: Path) -> None:
    put_report(tmp_path / "mud" / "report", plain_results())
    (tmp_path / "mud" / "again").symlink_to(tmp_path, target_is_directory=True)
    folders = [tmp_path, tmp_path / "mud", tmp_path / "mud" / "report" / ".."]
    assert len(found_entries(folders, tmp_path)) == 1


def test_a_record_that_changed_since_is_marked(tmp_path: Path) -> None:
    home = record(tmp_path / "mud")
    put_report(home / "report", plain_results(sources=[source()]))
    assert only(tmp_path).remark == ""
    (home / "log.csv").write_bytes(LOG + b"tick,limpet,99\n")
    assert only(tmp_path).remark == CHANGED


def test_a_report_in_the_folder_of_its_record(tmp_path: Path) -> None:
    home = record(tmp_path / "mud")
    put_report(home, plain_results(sources=[source()]))
    assert only(tmp_path).remark == ""
    (home / "log.csv").write_bytes(b"other")
    assert only(tmp_path).remark == CHANGED


def test_a_report_elsewhere_counts_for_the_record_it_was_made_from(tmp_path: Path) -> None:
    home = record(tmp_path / "records" / "mud")
    put_report(tmp_path / "made" / "mud", plain_results(sources=[source()]))
    assert [e.state for e in found_entries([tmp_path], tmp_path)] == ["report"]
    (home / "log.csv").write_bytes(b"other")
    assert [e.state for e in found_entries([tmp_path], tmp_path)] == ["report", "no_report"]


def test_names_in_results_never_lead_out_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "secret.csv").write_bytes(LOG)
    record(tmp_path / "mud" / "in")
    named = [source(name="../../secret.csv"), source(name="/etc/passwd"), source(name="")]
    put_report(tmp_path / "mud" / "in" / "report", plain_results(sources=named))
    entries = found_entries([tmp_path], tmp_path)
    assert [(e.state, e.remark) for e in entries] == [("report", "")]


def test_results_are_read_and_nothing_is_written(tmp_path: Path) -> None:
    put_report(tmp_path / "mud" / "report", plain_results(), files=FILES)
    record(tmp_path / "mud")

    def state() -> dict[str, tuple[bytes, int]]:
        return {
            str(p): (p.read_bytes(), p.stat().st_mtime_ns)
            for p in tmp_path.rglob("*")
            if p.is_file()
        }

    before = state()
    steps: list[tuple[str, float]] = []
    found_entries([tmp_path], tmp_path, progress=lambda step, share: steps.append((step, share)))
    assert state() == before
    assert steps == [("Reading results", 0.0)]


def test_a_device_file_in_place_of_results_does_not_stop_it(tmp_path: Path) -> None:
    folder = tmp_path / "mud" / "report"
    folder.mkdir(parents=True)
    (folder / "results.json").symlink_to("/dev/zero")
    assert only(tmp_path).state == "unreadable"
