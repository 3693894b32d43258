"""Where the checkout, its samples and the fixtures are; what a folder holds."""

from __future__ import annotations

import json
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_sessions"
PLAN = SAMPLES / "plan.toml"
FIXTURES = ROOT / "tests" / "fixtures"
HOSTILE: tuple[str, ...] = tuple(
    json.loads((FIXTURES / "hostile_strings.json").read_text(encoding="utf-8"))
)
"""Texts that a record may hold and that no output may take for anything but texts."""


def content(folder: Path) -> dict[str, bytes]:
    """Return path in the folder → bytes of every file below it."""
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }
