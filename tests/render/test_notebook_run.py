"""Running a notebook: a kernel of its own, cleaned output, failures in words."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from kit.errors import NotebookError, UsageError
from kit.render.notebook_run import notebook_text, run_notebook, start_kernel, without_slow_grammar
from tests.helpers.rendering import HOSTILE, NOTEBOOKS, notebook

if TYPE_CHECKING:
    from nbformat import NotebookNode


def run(source: Path, folder: Path, **parameters: object) -> NotebookNode:
    with start_kernel(folder) as kernel:
        return run_notebook(source, parameters, kernel=kernel, failed=folder / "x.failed.ipynb")


def written(folder: Path, *sources: str, parameters: str = "record = ''") -> Path:
    """Write a notebook of code cells, the first tagged as its parameters."""
    made = notebook("# T", *[() for _ in sources], ())
    codes = [c for c in made.cells if c.cell_type == "code"]
    for cell, source in zip(codes, (parameters, *sources), strict=True):
        cell.source, cell.outputs, cell.execution_count = source, [], None
    codes[0].metadata["tags"] = ["parameters"]
    path = folder / "made {b}.ipynb"
    path.write_text(notebook_text(made), encoding="utf-8")
    return path


def printed(done: NotebookNode) -> str:
    return "".join(o.text for c in done.cells for o in c.get("outputs", ()) if "text" in o)


@pytest.mark.slow
def test_a_run_is_isolated_and_leaves_no_trace_of_time_or_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = tmp_path / "home"
    startup = home / "profile_default" / "startup"
    startup.mkdir(parents=True)
    (startup / "00.py").write_text("print('from a start-up file')\nstarted = True\n")
    monkeypatch.setenv("IPYTHONDIR", str(home))
    folder = tmp_path / "with {braces} 'quotes'"
    folder.mkdir()
    (folder / "colorsys.py").write_text("raise SystemExit('taken from the working folder')")
    source = written(
        folder,
        "import os, sys, colorsys, kit\n"
        "print(os.path.basename(os.getcwd()), sys.executable, 'started' in globals())",
        "print(repr(record), hash('a'), os.environ['PYTHONHASHSEED'])",
    )
    texts = []
    sections: list[tuple[str, float]] = []
    for _ in range(2):
        with start_kernel(folder, preload=("kit.display", "no_such_module")) as kernel:
            done = run_notebook(
                source, {"record": HOSTILE[2]}, kernel=kernel, failed=folder / "failed.ipynb",
                on_section=lambda heading, share: sections.append((heading, share)),
            )  # fmt: skip
        texts.append(notebook_text(done))
    assert texts[0] == texts[1]
    assert printed(done).splitlines()[0] == f"{folder.name} {sys.executable} False"
    assert printed(done).splitlines()[1].startswith(repr(HOSTILE[2]))
    assert printed(done).splitlines()[1].endswith(" 0")
    plain = json.loads(texts[0])
    assert "papermill" not in plain["metadata"]
    assert all({"papermill", "execution"}.isdisjoint(c["metadata"]) for c in plain["cells"])
    assert [c["id"] for c in plain["cells"]] == [
        "text-1", "cell-2", "injected-parameters", "cell-3", "cell-4",
    ]  # fmt: skip
    assert not (folder / "failed.ipynb").exists()
    # four code cells with the injected one, twice
    assert sections == [("T", 0.0), ("T", 0.25), ("T", 0.5), ("T", 0.75)] * 2


@pytest.mark.slow
def test_a_failing_cell_is_told_in_words_and_the_notebook_kept(tmp_path: Path) -> None:
    with pytest.raises(NotebookError) as caught:
        run(NOTEBOOKS / "failing_cell.ipynb", tmp_path, record="x")
    assert str(caught.value).splitlines() == [
        "The notebook failed in code cell [4], under the heading “Fails”, at the line "
        "'raise ValueError(\"the tide came in\")'.",
        "  ValueError: the tide came in",
        f"The notebook up to there is kept as {tmp_path / 'x.failed.ipynb'}; the last good report "
        "is as it was.",
    ]
    assert caught.value.exit_code == 3
    kept = json.loads((tmp_path / "x.failed.ipynb").read_text(encoding="utf-8"))
    assert kept["cells"][-1]["outputs"][0]["evalue"] == "the tide came in"
    assert kept["cells"][-2]["outputs"][0]["text"] == ["before\n"]
    assert [c["cell_type"] for c in kept["cells"]].count("markdown") == 1


@pytest.mark.slow
def test_a_kernel_that_dies_is_an_error_in_words(tmp_path: Path) -> None:
    source = written(tmp_path, "print('alive')", "import os\nos._exit(7)")
    with pytest.raises(NotebookError, match="kernel ended or did not start"):
        run(source, tmp_path)
    kept = json.loads((tmp_path / "x.failed.ipynb").read_text(encoding="utf-8"))
    assert kept["cells"][2]["outputs"][0]["text"] == ["alive\n"]


@pytest.mark.slow
def test_what_the_notebook_does_not_declare_is_refused_before_it_runs(tmp_path: Path) -> None:
    source = written(tmp_path, "open('ran', 'w')", parameters="record = ''\ncoverage = 0.95")
    with start_kernel(tmp_path) as kernel:
        for parameters, message in (
            ({"recrod": "x"}, r"made \{b\}\.ipynb has no parameter 'recrod'; it has coverage, rec"),
            ({"record": tmp_path}, "Parameter 'record' is a PosixPath; give text or a number"),
        ):
            with pytest.raises(UsageError, match=message):
                run_notebook(source, parameters, kernel=kernel, failed=tmp_path / "failed")
    assert not (tmp_path / "ran").exists()


def test_the_slow_grammar_is_only_kept_out_inside_the_block(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delitem(sys.modules, "rfc3987_syntax", raising=False)
    with without_slow_grammar(), pytest.raises(ImportError):
        __import__("rfc3987_syntax")
    assert "rfc3987_syntax" not in sys.modules
    marker = type(sys)("rfc3987_syntax")
    monkeypatch.setitem(sys.modules, "rfc3987_syntax", marker)
    with without_slow_grammar():
        assert sys.modules["rfc3987_syntax"] is marker
    assert sys.modules["rfc3987_syntax"] is marker
