"""Where the templates and samples are: beside the package in a checkout, inside it in a wheel."""

from __future__ import annotations

import shutil
from pathlib import Path

from kit.errors import RenderError, UsageError

__all__ = ["copy_samples", "samples_folder", "templates_folder"]

MADE = ("report", "report-draft", "__pycache__")
"""Folders beside a sample that were made from it."""
PACKAGE = Path(__file__).resolve().parent


def bundled(name: str) -> Path:
    """Return the folder ``name`` of the checkout, or the copy that travels in the wheel."""
    for folder in (PACKAGE.parent / name, PACKAGE / "_bundled" / name):
        if folder.is_dir():
            return folder
    msg = f"The folder {name} is not beside the package; install the kit anew."
    raise RenderError(msg)


def templates_folder() -> Path:
    """Return the folder of the notebook templates."""
    return bundled("report_templates")


def samples_folder() -> Path:
    """Return the folder of the sample sessions."""
    return bundled("sample_sessions")


def copy_samples(into: Path) -> tuple[Path, ...]:
    """Copy each sample session, and the sample plan, into ``into``; return what was made.

    Raises
    ------
    UsageError
        If one of them is there already; nothing is copied then.
    RenderError
        If they cannot be written.
    """
    samples = sorted(p for p in samples_folder().iterdir() if (p / "session.toml").exists())
    samples.append(samples_folder() / "plan.toml")
    taken = [into / p.name for p in samples if (into / p.name).exists()]
    if taken:
        msg = f"{taken[0]} exists; nothing was copied. Name an empty folder, or move it away."
        raise UsageError(msg)
    try:
        into.mkdir(parents=True, exist_ok=True)
        for sample in samples:
            if sample.is_dir():
                shutil.copytree(sample, into / sample.name, ignore=shutil.ignore_patterns(*MADE))
            else:
                shutil.copy(sample, into / sample.name)
    except OSError as error:  # that of copytree, a list of them, has no reason of its own
        msg = f"Cannot write to {into}: {error.strerror or error}. Name another folder."
        raise RenderError(msg) from error
    return tuple(into / p.name for p in samples)
