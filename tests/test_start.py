"""The set-up from a bare Python: what it would run, without running it."""

import subprocess
import sys
from pathlib import Path

import pytest

from kit import start


@pytest.fixture
def calls(monkeypatch, tmp_path):
    made = []

    def record(command, **keywords):
        made.append([str(word) for word in command])
        return subprocess.CompletedProcess(command, 0)

    monkeypatch.setattr(subprocess, "run", record)
    monkeypatch.setattr(start.venv.EnvBuilder, "create", lambda self, env: Path(env).mkdir())
    monkeypatch.setenv("RUNDOWN_ENV", str(tmp_path / "env"))
    return made


def test_report_installs_the_pinned_files_by_hash_and_then_makes_the_sample(calls):
    assert start.main(["report"]) == 0
    pinned, own, command = calls
    assert pinned[:3] == [sys.executable, "-m", "pip"]
    assert "--require-hashes" in pinned
    assert pinned[-1].endswith("report.txt")
    assert {"--no-deps", "--no-build-isolation", "--editable"} <= set(own)
    assert command[1:4] == ["-m", "kit", "report"]
    assert command[4].replace("\\", "/").endswith("sample_sessions/full-day")


def test_a_second_call_skips_the_set_up(calls, tmp_path):
    start.main(["env"])
    (tmp_path / "env" / "pyvenv.cfg").touch()
    before = len(calls)
    assert start.main(["test", "-q"]) == 0
    installs = [c for c in calls[before:] if "install" in c]
    assert [c[-1].endswith("test.txt") for c in installs] == [True, False]  # another file: once
    before = len(calls)
    assert start.main(["test", "-q"]) == 0
    (only,) = calls[before:]
    assert only[1:] == ["-m", "pytest", "-q"]


def test_a_failed_installation_names_the_remedy_and_leaves_no_mark(
    monkeypatch, calls, tmp_path, capsys
):
    def fail(command, **keywords):
        raise subprocess.CalledProcessError(1, command)

    monkeypatch.setattr(subprocess, "run", fail)
    assert start.main(["env"]) == 1
    assert "Remedy" in capsys.readouterr().out
    assert not list((tmp_path / "env").glob("made-from-*"))


@pytest.mark.parametrize("words", [[], ["make"]])
def test_another_word_shows_the_usage(words, capsys):
    assert start.main(words) == 2
    assert "usage" in capsys.readouterr().out


def test_it_needs_nothing_but_the_standard_library():
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); import kit.start; "
        "print([m for m in ('click', 'pandas', 'numpy') if m in sys.modules])"
    )
    root = str(Path(start.ROOT))
    out = subprocess.run(
        [sys.executable, "-S", "-c", code, root], check=True, capture_output=True, text=True
    )
    assert out.stdout.strip() == "[]"
