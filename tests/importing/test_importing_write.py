"""The command: a preview, a folder that check accepts with --write, nothing overwritten."""

import contextlib
import errno
import io
import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest
from click.testing import CliRunner

from kit.checks import check_session
from kit.cli import cli, main
from kit.errors import RecordError, RenderError, UsageError
from kit.importing import write
from kit.importing.preview import preview
from kit.importing.write import write_session
from kit.read.record import read_record
from kit.session import FRAME_COLUMNS
from tests.helpers.import_corpus import (
    DAY,
    HEAD,
    assert_the_day,
    book,
    card,
    csv_card,
    formatted,
    imported,
)

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "sample_sessions" / "scorecard"


def run(*words):
    return CliRunner().invoke(cli, ["import", *map(str, words)])


def bare(*words):
    """Run as a user does, where errors end in words."""
    out, err, code = io.StringIO(), io.StringIO(), None
    with (
        pytest.MonkeyPatch.context() as patch,
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        patch.setattr(sys, "argv", ["rundown", "import", *map(str, words)])
        try:
            main()
        except SystemExit as end:
            code = end.code
    return SimpleNamespace(returncode=code, stdout=out.getvalue(), stderr=err.getvalue())


def assert_same(first, second):
    for name, columns in FRAME_COLUMNS.items():
        keys = [c for c in columns if c != "line"]
        one, two = (
            getattr(s, name)[keys].sort_values(keys, ignore_index=True) for s in (first, second)
        )
        pd.testing.assert_frame_equal(one, two, obj=name, check_dtype=False)
    for name in ("date", "timezone", "devices", "phases", "runs"):
        assert getattr(first, name) == getattr(second, name), name


def listing(folder):
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*"))


# ------------------------------------------------------------------- preview


def test_a_preview_has_a_line_for_each_device(tmp_path):
    shown = preview(imported(book(tmp_path / "a.xlsx", card()))).splitlines()
    # the readings written out in import_corpus; off between 9:56 and 9:58
    assert "  Limpet 10  three readings, 100 % at 08:00 to 76 % at 10:03" in shown
    assert "  Dunlin 9   two readings, 100 % at 08:00 to 88 % at 09:01; off at 09:58" in shown


def test_a_preview_counts_runs_and_times_since_the_start(tmp_path):
    text = (
        "event,run,device,phase,point,elapsed_min,soc_pct\nreading,1,Limpet 10,map,start,0,100\n"
        "reading,1,Limpet 10,map,end,61,91.5\nreading,2,Limpet 10,map,start,0,99\n"
    )
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    shown = preview(imported(tmp_path / "a.csv")).splitlines()
    assert "  Limpet 10  run 1, two readings, 100 % at 0:00 to 91.5 % at 1:01" in shown
    assert "  Limpet 10  run 2, one reading, 99 % at 0:00" in shown


def test_a_long_row_of_devices_is_told_in_part(tmp_path):
    head = ["checkpoint", *(f"Tablet {i}" for i in range(1, 71))]
    rows = [head, ["start", *[100] * 70], ["after map", *[90] * 70]]
    text = "\n".join(",".join(map(str, r)) for r in rows)
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    shown = preview(imported(tmp_path / "a.csv")).splitlines()
    assert sum(line.startswith("  Tablet ") for line in shown) == 60
    assert "  and 10 more" in shown


def test_a_preview_says_what_was_understood_and_writes_nothing(tmp_path):
    rows = [*card([(1.0, 1.0), (0.91, 0.88), (0.76, None)]), ["Average", None, 0.89, 0.94]]
    path = book(tmp_path / "day.xlsx", rows, top=[["Tablets"], ["Date", DAY], []],
                shape=formatted("0%", "C5:D7"))  # fmt: skip
    result = run(path, "--into", tmp_path / "day")
    assert result.exit_code == 0
    for words in (
        "day.xlsx, sheet 'Card': scorecard, a column for each device",
        "devices       Limpet 10 (column C), Dunlin 9 (column D)",
        "checkpoints   start, after map, after photo",
        "readings      5",
        "power-offs    1 with a time",
        "percentages   cells formatted as percentages (0.83 is 83 %)",
        "date          2026-05-16 (from B2)",
        "times         by the clock, 24 hours (column B)",
        "left aside    row 10 'Average'",
        "phases        map, photo",
        "A preview: nothing was written.",
    ):
        assert words in result.output, words
    assert listing(tmp_path) == ["day.xlsx"]


def test_an_open_cell_ends_with_one_and_nothing_is_written(tmp_path):
    path = book(tmp_path / "day.xlsx", card([(100, 100), (91, 0.88), (76, None)]))
    for words in ((), ("--into", tmp_path / "day", "--write")):
        result = run(path, *words)
        assert result.exit_code == 1
        assert "Open: each of these could mean several things (1)" in result.output
        assert "day.xlsx, sheet 'Card', cell D3: found 0.88" in result.output
        assert "Nothing was written." in result.output
    assert listing(tmp_path) == ["day.xlsx"]
    decide = tmp_path / "decide.toml"
    decide.write_text('[cells]\n"Card!D3" = 88\n', encoding="utf-8")
    done = run(path, "--into", tmp_path / "day", "--write", "--mapping", decide)
    assert done.exit_code == 0
    assert listing(tmp_path / "day") == ["log.csv", "session.toml"]


def test_the_preview_for_machines(tmp_path):
    path = book(tmp_path / "day.xlsx", card([(100, 100), (91, 0.88), (76, None)]))
    data = json.loads(run(path, "--json").output)
    assert data["settled"] is False
    assert data["open"] == 1
    assert data["sheets"][0]["devices"] == ["Limpet 10", "Dunlin 9"]
    [finding] = [f for f in data["findings"] if f["severity"] == "error"]
    assert (finding["cell"], finding["sheet"], finding["line"]) == ("D3", "Card", 3)
    assert finding["decide"] == "units.percent"
    good = json.loads(run(book(tmp_path / "b.xlsx", card()), "--json").output)
    assert (good["settled"], good["phases"], good["written"]) == (True, ["map", "photo"], [])


def test_the_preview_loads_no_spreadsheet_library_for_csv_and_no_heavy_one_ever(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(csv_card(), encoding="utf-8")
    book(tmp_path / "b.xlsx", card())
    code = (
        "import sys\nfrom kit.cli import cli\n"
        "cli.main(['import', sys.argv[1]], standalone_mode=False)\n"
        "print('LOADED', *sorted({'openpyxl', 'python_calamine', 'scipy', 'matplotlib', 'seaborn'}"
        " & set(sys.modules)))"
    )
    for name, loaded in (("a.csv", ""), ("b.xlsx", " python_calamine")):
        out = subprocess.run([sys.executable, "-c", code, str(tmp_path / name)],
                             cwd=ROOT, capture_output=True, text=True, check=True)  # fmt: skip
        assert out.stdout.splitlines()[-1] == f"LOADED{loaded}"


# ------------------------------------------------------------------- writing


def test_what_is_written_is_a_session_that_check_accepts(tmp_path):
    path = book(tmp_path / "day.xlsx", card(), top=[["Tablets"], ["Date", DAY], []])
    folder = tmp_path / "out"
    result = run(path, "--into", folder, "--write")
    assert result.exit_code == 0
    assert listing(folder) == ["log.csv", "session.toml"]
    assert CliRunner().invoke(cli, ["check", str(folder)]).exit_code == 0
    session, findings = read_record(folder)
    assert not [f for f in findings if f.severity == "error"]
    assert (session.id, session.title, session.date) == ("out", "Tablets", DAY)
    assert_the_day(replace(imported(path), session=session))
    assert check_session(session) is not None


def test_a_scorecard_imported_and_read_directly_is_the_same_session(tmp_path):
    text = (SAMPLE / "session.toml").read_text(encoding="utf-8")
    direct, _ = read_record(SAMPLE)
    folder = tmp_path / "day"
    folder.mkdir()
    (folder / "session.toml").write_text(
        text.replace('log = "scorecard.csv"\n', ""), encoding="utf-8"
    )
    result = run(SAMPLE / "scorecard.csv", "--into", folder, "--write")
    assert result.exit_code == 0, result.output
    assert listing(folder) == ["log.csv", "session.toml"]
    assert_same(direct, read_record(folder)[0])


@pytest.mark.parametrize(
    "text",
    [
        csv_card(),
        csv_card(";", ",5").replace("100,5", "100"),
        "checkpoint,date,clock,Limpet 10,Dunlin 9,note,by\nstart,2026-05-16,21:00,100,100,,Wren\n"
        'after map,2026-05-16,23:30,91 %,off,"rain, wind",Teal\n'
        "during photo,2026-05-17,00:30,85,,,\nphoto,2026-05-17,01:30,76,,,\n"
        "still on,,,01:40,,,\n",
        "clock,Limpet 10,Dunlin 9\n08:00:30,100,100\n08:30:00,97,96\n09:00:30,93.5,-\n",
        "checkpoint,elapsed_min,a,b\nstart,0,100,100\nafter m,61.5,90,80\nruntime,,2:10,\n"
        "last percentage,,3,\n",
        "checkpoint;run;clock;a\nstart;1;08:00;100\nafter m;1;09:00;90\nstart;2;08:00;100\n"
        "after m;2;09:01;89\n",
    ],
    ids=["plain", "commas", "midnight", "by clock alone", "elapsed", "runs"],
)
def test_scorecards_without_a_setup_file_come_back_as_they_are_read(text, tmp_path):
    path = tmp_path / "card.csv"
    path.write_text(text, encoding="utf-8")
    direct, _ = read_record(path)
    result = run(path, "--into", tmp_path / "out", "--write")
    assert result.exit_code == 0, result.output
    assert_same(direct, read_record(tmp_path / "out")[0])


def test_a_log_kept_in_a_spreadsheet_comes_back(tmp_path):
    source = ROOT / "sample_sessions" / "full-day"
    table = pd.read_csv(source / "log.csv", dtype=str, keep_default_na=False)
    folder = tmp_path / "day"
    folder.mkdir()
    text = (source / "session.toml").read_text(encoding="utf-8")
    (folder / "session.toml").write_text(text, encoding="utf-8")
    rows = [list(table.columns), *table.to_numpy().tolist()]
    path = book(tmp_path / "log.xlsx", rows, sheet="log")
    result = run(path, "--into", folder, "--write")
    assert result.exit_code == 0, result.output
    assert_same(read_record(source)[0], read_record(folder)[0])


def test_nothing_is_overwritten(tmp_path):
    path = book(tmp_path / "a.xlsx", card())
    folder = tmp_path / "day"
    folder.mkdir()
    (folder / "log.csv").write_text("mine", encoding="utf-8")
    done = bare(path, "--into", folder, "--write")
    assert done.returncode == 2
    assert "exists; nothing was written" in done.stderr
    assert listing(folder) == ["log.csv"]
    assert (folder / "log.csv").read_text() == "mine"
    (folder / "log.csv").unlink()
    (folder / "log.csv").symlink_to(tmp_path / "elsewhere.csv")
    assert bare(path, "--into", folder, "--write").returncode == 2
    assert not (tmp_path / "elsewhere.csv").exists()


def test_a_setup_file_that_is_there_is_used_and_left_alone(tmp_path):
    folder = tmp_path / "day"
    folder.mkdir()
    setup = '[session]\ndate = 2026-05-16\nstart = "08:00"\n'
    (folder / "session.toml").write_text(setup, encoding="utf-8")
    path = book(tmp_path / "a.xlsx", card())
    assert run(path, "--into", folder, "--write").exit_code == 0
    assert (folder / "session.toml").read_text() == setup
    assert read_record(folder)[0].date == DAY
    (folder / "log.csv").unlink()
    (folder / "session.toml").write_text('[session]\nlog = "other.csv"\n', encoding="utf-8")
    done = bare(path, "--into", folder, "--write")
    assert done.returncode == 2
    assert "names the log 'other.csv'" in done.stderr


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (("--write",), 2),  # no folder
        (("--into", "no/such/parent/day", "--write"), 2),
        (("--sheet", "Nowhere"), 2),
        (("--mapping", "no.toml"), 2),
    ],
)
def test_wrong_use_ends_with_two(words, status, tmp_path):
    path = book(tmp_path / "a.xlsx", card())
    assert bare(path, *words).returncode == status


def test_a_faulty_mapping_file_ends_with_one_and_names_the_line(tmp_path):
    path = book(tmp_path / "a.xlsx", card())
    mapping = tmp_path / "m.toml"
    mapping.write_text('[units]\npercent = "both"\n', encoding="utf-8")
    done = bare(path, "--mapping", mapping)
    assert done.returncode == 1
    assert "m.toml, line 2, key units.percent" in done.stdout


# ----------------------------------------------------------- whole or not at all


@pytest.mark.parametrize("exists", [False, True])
@pytest.mark.parametrize("after", [0, 1, 2])
def test_a_full_disk_leaves_nothing_behind(exists, after, tmp_path, monkeypatch):
    state = imported(book(tmp_path / "a.xlsx", card()))
    folder = tmp_path / "day"
    if exists:
        folder.mkdir()
    before = listing(tmp_path)
    calls = []

    def full(descriptor):
        calls.append(descriptor)
        if len(calls) > after:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(write.os, "fsync", full)
    if after == 2:
        assert len(write_session(state, folder)) == 2
        return
    with pytest.raises(RenderError, match="nothing was left behind"):
        write_session(state, folder)
    assert listing(tmp_path) == before


def test_a_log_that_appears_in_the_last_moment_is_not_overwritten(tmp_path, monkeypatch):
    state = imported(book(tmp_path / "a.xlsx", card()))
    folder = tmp_path / "day"
    folder.mkdir()
    real = write._put

    def slow(path, text):
        real(path, text)
        (folder / "log.csv").write_text("theirs", encoding="utf-8")

    monkeypatch.setattr(write, "_put", slow)
    with pytest.raises(UsageError, match="exists"):
        write_session(state, folder)
    assert listing(folder) == ["log.csv"]
    assert (folder / "log.csv").read_text() == "theirs"


def test_a_file_system_without_links_gets_the_files_too(tmp_path, monkeypatch):
    def none(*_):
        raise OSError(errno.EPERM, "no links here")

    monkeypatch.setattr(write.os, "link", none)
    folder = tmp_path / "day"
    folder.mkdir()
    write_session(imported(book(tmp_path / "a.xlsx", card())), folder)
    assert listing(folder) == ["log.csv", "session.toml"]
    assert (folder / "log.csv").read_text().startswith("event,")


def test_what_is_open_cannot_be_written_from_code_either(tmp_path):
    state = imported(book(tmp_path / "a.xlsx", card([(100, 0.5), (91, 88), (76, None)])))
    with pytest.raises(RecordError):
        write_session(state, tmp_path / "day")
    assert not (tmp_path / "day").exists()
    assert HEAD[0] == "Checkpoint"
