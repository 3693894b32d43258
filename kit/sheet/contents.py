"""A plan as a run sheet: read once, for all its sections."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from kit.display import Block, Prose
from kit.labels import shorten
from kit.plan.outlook import Outlook, outlook

if TYPE_CHECKING:
    from kit.display import BlockKind
    from kit.errors import Finding
    from kit.plan.planned import Plan

__all__ = ["BOX", "NAME_WIDTH", "Sheet", "load", "prose"]

BOX = "\N{BALLOT BOX}"
NAME_WIDTH = 14
"""Longest name of a device at the head of a narrow column."""


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A plan with all that follows from it, and the file it was read from."""

    plan: Plan
    view: Outlook
    findings: tuple[Finding, ...]
    file: str
    fingerprint: str

    @property
    def names(self) -> dict[str, str]:
        """Return device id → name short enough for the head of a narrow column."""
        labels = [shorten(" ".join(d.label.split()) or d.id, NAME_WIDTH) for d in self.plan.devices]
        return {
            d.id: label if labels.count(label) == 1 else shorten(f"{place} {label}", NAME_WIDTH)
            for place, (d, label) in enumerate(zip(self.plan.devices, labels, strict=True), 1)
        }


def load(plan: str) -> Sheet:
    """Read a plan file.

    Parameters
    ----------
    plan
        Path of a plan file. A relative one is looked up from the working folder, then beside
        the package, where the sample is.

    Raises
    ------
    RecordError
        If the plan is faulty; the message has one sentence for each fault.
    UsageError
        If it cannot be read.
    """
    from kit.places import PACKAGE, samples_folder
    from kit.plan.file import read_plan

    given = Path(plan).expanduser()
    places = (given, PACKAGE.parent / given, samples_folder().parent / given)
    path = next((place for place in places if place.exists()), given)
    read, findings = read_plan(path)
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    return Sheet(
        plan=read, view=outlook(read), findings=findings, file=path.name, fingerprint=digest[:12]
    )


def prose(*texts: str, kind: BlockKind = "paragraph") -> tuple[Prose, ...]:
    """Return one piece of prose of one kind; nothing for empty texts."""
    blocks = tuple(Block(kind=kind, text=text) for text in texts if text)
    return (Prose(blocks=blocks),) if blocks else ()
