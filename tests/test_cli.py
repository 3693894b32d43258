"""The command line: exit statuses, what is printed, what is not loaded."""

import json
import re
import subprocess
import sys

import pytest
from click.testing import CliRunner

from kit.cli import cli
from kit.console import count
from kit.errors import ExitCode, Finding
from kit.options import default_out
from tests.helpers.files import ROOT

SAMPLE = ROOT / "sample_sessions" / "full-day"


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "kit", *words], cwd=ROOT, capture_output=True, text=True, check=False
    )


def test_check_lists_the_findings_of_a_sound_record_and_ends_with_zero():
    result = CliRunner().invoke(cli, ["check", str(SAMPLE)])
    assert result.exit_code == ExitCode.DONE
    assert "The record passes" in result.output


def test_check_as_json_has_every_field():
    result = CliRunner().invoke(cli, ["check", str(SAMPLE), "--json"])
    findings = json.loads(result.output)
    assert findings
    assert {"rule", "severity", "file", "line", "column", "found", "expected", "remedy"} <= set(
        findings[0]
    )


def test_a_bad_record_ends_with_one_names_the_place_and_writes_nothing(tmp_path):
    log = tmp_path / "log.csv"
    log.write_text("event,phase,point,device,soc_pct\nreading,p1,end,a,107\n", encoding="utf-8")
    for verb in ("check", "report"):
        done = run(verb, str(tmp_path))
        assert done.returncode == ExitCode.RECORD
        assert "log.csv, line 2, column soc_pct: found '107'" in done.stdout
        assert "Traceback" not in done.stderr + done.stdout
    assert [p.name for p in tmp_path.iterdir()] == ["log.csv"]


def test_a_path_that_is_not_there_is_wrong_use():
    done = run("check", "no-such-folder")
    assert done.returncode == ExitCode.USAGE
    assert "no-such-folder" in done.stderr


def test_a_coverage_of_one_half_is_refused_at_once(tmp_path):
    # every analysis needs more than one half; before, the command took it and failed in between
    for words in (["report", str(SAMPLE)], ["batch", str(SAMPLE)]):
        refused = CliRunner().invoke(
            cli, [*words, "--coverage", "0.5", "--out", str(tmp_path / "x")]
        )
        assert (refused.exit_code, "0.5<x<=0.999" in refused.output) == (2, True)


def test_samples_are_copied_and_never_over_something(tmp_path):
    first = CliRunner().invoke(cli, ["samples", str(tmp_path / "s")])
    assert first.exit_code == 0
    assert (tmp_path / "s" / "full-day" / "log.csv").exists()
    mine = tmp_path / "s" / "full-day" / "log.csv"
    mine.write_text("mine", encoding="utf-8")
    again = run("samples", str(tmp_path / "s"))
    assert again.returncode == ExitCode.USAGE
    assert mine.read_text(encoding="utf-8") == "mine"


def test_samples_that_cannot_be_written_end_in_words(tmp_path):
    (tmp_path / "a").write_text("", encoding="utf-8")
    done = run("samples", str(tmp_path / "a" / "s"))
    assert done.returncode == ExitCode.RENDER
    assert done.stderr.strip() == (
        f"rundown: Cannot write to {tmp_path / 'a' / 's'}: Not a directory. Name another folder."
    )


def test_where_a_report_goes_when_nothing_is_said(tmp_path):
    assert default_out(tmp_path) == tmp_path / "report"
    assert default_out(tmp_path / "day.csv") == tmp_path / "day-report"


@pytest.mark.parametrize(
    ("severities", "words"),
    [
        ([], "no findings"),
        (["note"], "1 note"),
        (["caution", "caution", "note"], "2 cautions and 1 note"),
        (["error", "caution", "note"], "1 error, 1 caution and 1 note"),
    ],
)
def test_count_says_how_many_of_each(severities, words):
    findings = [
        Finding(rule="r", severity=s, file="log.csv", found="", expected="", remedy="")
        for s in severities
    ]
    assert count(findings) == words


def test_help_loads_neither_pandas_nor_scipy_and_check_no_scipy_or_matplotlib():
    code = (
        "import sys, kit.cli\n"
        "from click.testing import CliRunner\n"
        "CliRunner().invoke(kit.cli.cli, sys.argv[1:])\n"
        "print(*[m for m in ('pandas', 'scipy', 'matplotlib', 'seaborn', 'nbconvert') "
        "if m in sys.modules])"
    )

    def loaded(*words: str) -> list[str]:
        out = subprocess.run(
            [sys.executable, "-c", code, *words],
            check=True,
            capture_output=True,
            text=True,
            cwd=ROOT,
        )
        return out.stdout.split()

    assert loaded("--help") == []
    assert loaded("check", str(SAMPLE)) == ["pandas"]


def test_readme_documents_every_command_and_exit_status():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for command in cli.commands:
        assert f"`rundown {command}" in readme, command
    for code in ExitCode:
        assert re.search(rf"^\| {int(code)} \|", readme, re.MULTILINE), code


def test_readme_opens_with_the_job_in_one_paragraph():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    title, paragraph, *_ = readme.split("\n\n")
    assert title == "# Rundown Kit"
    assert "side by side" in paragraph
    assert len(paragraph.split()) > 40


def test_a_plan_is_shown_and_becomes_a_folder_that_is_never_overwritten(tmp_path):
    plan = str(ROOT / "sample_sessions" / "plan.toml")
    shown = CliRunner().invoke(cli, ["plan", plan])
    assert shown.exit_code == 0, shown.output
    assert max(map(len, shown.output.splitlines())) <= 100
    folder = tmp_path / "day"
    made = CliRunner().invoke(cli, ["new", plan, str(folder)])
    assert made.exit_code == 0, made.output
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    assert set(before) >= {"session.toml", "log.csv"}
    again = run("new", plan, str(folder))
    assert again.returncode != 0
    assert "Traceback" not in again.stderr
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


def test_a_faulty_plan_is_called_a_plan_and_known_keys_are_named_once(tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text('colour = "red"\n[session]\nid = "d"\n[plan]\n', encoding="utf-8")
    done = run("plan", str(plan))
    assert done.returncode == ExitCode.RECORD
    assert "The plan did not pass: " in done.stdout
    [line] = [x for x in done.stdout.splitlines() if "'colour'" in x]
    keys = line.partition("one of the keys of the file: ")[2].partition(".")[0].split(", ")
    assert keys == sorted(set(keys))
    assert {"plan", "limits", "breaks"} <= set(keys)


def test_every_sample_is_copied_with_the_plan(tmp_path):
    CliRunner().invoke(cli, ["samples", str(tmp_path / "s")])
    names = {p.name for p in (tmp_path / "s").iterdir()}
    assert {"full-day", "scorecard", "minute-log", "replicates", "plan.toml"} <= names
