"""Setup files written as a text: what they say, and what is wrong with them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.read.setup_file import Setup, read_setup

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.errors import Finding

__all__ = ["fault", "faults", "good"]


def good(text: str) -> Setup:
    """Return the setup that ``text`` says, of which nothing is to be told."""
    setup, findings = read_setup(text.encode(), "session.toml")
    assert [f.sentence for f in findings] == []
    return setup


def faults(text: str) -> Sequence[Finding]:
    """Return all findings."""
    _, findings = read_setup(text.encode(), "session.toml")
    return findings


def fault(text: str) -> Finding:
    """Return the one finding; line 1 of ``text`` is line 1 of the file."""
    findings = faults(text)
    assert len(findings) == 1, "\n".join(f.sentence for f in findings)
    assert findings[0].file == "session.toml"
    assert findings[0].remedy.endswith((".", "?"))
    return findings[0]
