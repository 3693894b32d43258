"""The sessions of a comparison, in the order in which they took place."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from kit.errors import UsageError
from kit.runtime.runtimes import runtime_tables

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd

    from kit.errors import Finding
    from kit.session import Session

__all__ = ["Member", "fingerprint", "in_order", "members_of"]

INCIDENTS = {"heat_shutdown": "shut down by heat", "swelling": "found swollen"}
"""Causes of incidents (docs/record-format.md) after which a runtime is not that of its battery."""


@dataclass(frozen=True, kw_only=True)
class Member:
    """One session of a comparison.

    Parameters
    ----------
    number
        Its place in the order, from 1.
    key
        Its id, different from that of every other member.
    session, findings
        The record, and the cautions and notes of its checks.
    runtimes, runtime_pairs
        Frames of `kit.runtime.runtimes`.
    """

    number: int
    key: str
    session: Session
    findings: tuple[Finding, ...]
    runtimes: pd.DataFrame
    runtime_pairs: pd.DataFrame

    @property
    def said(self) -> str:
        """Return the session as it is called in a sentence."""
        day = self.session.date
        return f"session\N{NO-BREAK SPACE}{self.number} ({f'{day:%Y-%m-%d}' if day else self.key})"

    @property
    def set_aside(self) -> dict[str, str]:
        """Return the devices whose runtime is not that of one battery charge, and why."""
        frame = self.session.incidents
        found = {
            device: INCIDENTS[cause.strip().casefold()]
            for device, cause in zip(frame["device"].tolist(), frame["cause"].tolist(), strict=True)
            if cause.strip().casefold() in INCIDENTS
        }
        return found | dict.fromkeys(
            self.session.charges["device"].tolist(), "charged during a run"
        )


def in_order(sessions: Iterable[Session]) -> tuple[int, ...]:
    """Return the positions of sessions in the order of their dates; undated ones last, as given."""
    days = [session.date or date.max for session in sessions]
    return tuple(sorted(range(len(days)), key=lambda k: days[k]))


def members_of(records: Iterable[tuple[Session, tuple[Finding, ...]]]) -> tuple[Member, ...]:
    """Return the sessions in the order of their dates; undated ones last, as given.

    Raises
    ------
    UsageError
        With fewer than two sessions, or the same one twice.
    """
    given = list(records)
    if len(given) < 2:
        message = "a comparison needs at least two sessions"
        raise UsageError(message)
    given = [given[k] for k in in_order(session for session, _ in given)]
    prints: dict[str, str] = {}
    found: list[Member] = []
    for session, findings in given:
        if session.sources and session.fingerprint in prints:
            message = (
                f"the sessions {prints[session.fingerprint]} and {session.id} are the same record; "
                "name each session once"
            )
            raise UsageError(message)
        key, number = session.id, 2
        while key in prints.values():
            key = f"{session.id} [{number}]"
            number += 1
        prints[session.fingerprint if session.sources else f"no sources {key}"] = key
        runtimes, pairs = runtime_tables(session)
        found.append(
            Member(
                number=len(found) + 1,
                key=key,
                session=session,
                findings=findings,
                runtimes=runtimes,
                runtime_pairs=pairs,
            )
        )
    return tuple(found)


def fingerprint(members: Sequence[Member]) -> str:
    """Return the first 12 hex digits of a SHA-256 over the sessions' fingerprints, in order."""
    digest = hashlib.sha256()
    for member in members:
        digest.update(member.session.fingerprint.encode())
    return digest.hexdigest()[:12]
