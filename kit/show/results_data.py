"""Results as plain data for machines: what ``results.json`` and the CSV tables hold."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from kit.show.wording import glance, limits
from kit.units import UNDATED_YEAR

if TYPE_CHECKING:
    from datetime import datetime

    import pandas as pd

    from kit.results import Results, Settings
    from kit.session import Session

__all__ = ["FORMAT", "results_data"]

FORMAT = "rundown-results/1"
"""Name and version of the layout; a change that breaks a reader raises the number."""

_MAIN = (
    "phase_drain", "agreement", "contributions", "budget", "standing", "drain_pairs", "runtimes",
    "runtime_pairs", "projections", "energy", "parts", "replicates",
)  # fmt: skip


def results_data(results: Results, *, kit_version: str) -> dict[str, Any]:
    """Return session, settings, findings, sentences and all result tables as plain data.

    Parameters
    ----------
    results
        Results of a session.
    kit_version
        Version of the kit that made them.

    Returns
    -------
    dict
        Keys ``format``, ``kit_version``, ``session``, ``settings``, ``findings``, ``glance``,
        ``limits`` and ``tables`` (name → ``columns``, ``rows``). Full precision; ``None`` is what
        could not be had.
    """
    frames = {name: getattr(results, name) for name in _MAIN} | dict(results.extra)
    tables = {"devices": _devices(results.session), "phases": _phases(results.session)}
    tables |= {name: _table(frame) for name, frame in frames.items()}
    return {
        "format": FORMAT,
        "kit_version": kit_version,
        "session": _session(results.session),
        "settings": _settings(results.settings),
        "findings": [finding.as_dict() for finding in results.findings],
        "glance": list(results.glance or glance(results)),
        "limits": list(limits(results)),
        "tables": tables,
    }


def _settings(settings: Settings) -> dict[str, Any]:
    """Return the parameters; a mix only where one was asked for."""
    found = asdict(settings)
    return found if settings.mix else {k: v for k, v in found.items() if k != "mix"}


def _table(frame: pd.DataFrame) -> dict[str, Any]:
    """Return a frame as columns and rows of plain values."""
    columns = [frame[name].astype(object).tolist() for name in frame.columns]
    return {
        "columns": [str(name) for name in frame.columns],
        "rows": [list(row) for row in zip(*columns, strict=True)],
    }


def _devices(session: Session) -> dict[str, Any]:
    columns = (
        "id", "label", "position", "model", "display_diagonal_in", "rated_energy_wh",
        "rated_energy_tol_pct", "rated_capacity_mah", "nominal_voltage_v", "health_pct",
        "health_u_pct", "software", "notes",
    )  # fmt: skip
    rows = [[getattr(device, name) for name in columns] for device in session.devices]
    return {"columns": list(columns), "rows": rows}


def _phases(session: Session) -> dict[str, Any]:
    """Return the phases of every run, planned and as they were."""
    spans = {(span.run, span.phase): span for span in session.spans.itertuples(index=False)}
    rows = []
    for run in session.runs:
        for phase in session.phases:
            span = spans.get((run.number, phase.id))
            times = (
                (span.start_min, span.end_min, span.duration_min, span.duration_u_min)
                if span is not None
                else (None, None, None, None)
            )
            head = (run.number, phase.id, phase.label, phase.activity, phase.kind)
            rows.append([*head, phase.planned_min, *times])
    columns = (
        "run", "id", "label", "activity", "kind", "planned_min", "start_min", "end_min",
        "duration_min", "duration_u_min",
    )  # fmt: skip
    return {"columns": list(columns), "rows": rows}


def _session(session: Session) -> dict[str, Any]:
    assumptions = {k: v for k, v in asdict(session.assumptions).items() if k != "stated"}
    return {
        "id": session.id,
        "title": session.title,
        "date": session.date.isoformat() if session.date else None,
        "timezone": session.timezone,
        "operator": session.operator,
        "revision": session.revision,
        "fingerprint": session.fingerprint,
        "notes": session.notes,
        "form": session.form,
        "runs": [
            {
                "number": run.number,
                "start": _start(run.start),
                "stop_min": run.stop_min,
                "stated_elapsed_min": run.stated_elapsed_min,
            }
            for run in session.runs
        ],
        "conditions": {key: _plain(value) for key, value in session.conditions.items()},
        "exceptions": {
            device.id: {key: _plain(value) for key, value in device.conditions.items()}
            for device in session.devices
            if device.conditions
        },
        "assumptions": {**assumptions, "stated": sorted(session.assumptions.stated)},
        "declared_comparison": list(session.declared_comparison or ()),
        "mixes": {name: dict(mix) for name, mix in session.mixes.items()},
        "sources": [{"name": s.name, "sha256": s.sha256, "size": s.size} for s in session.sources],
    }


def _start(start: datetime | None) -> str | None:
    """Return a start in ISO form; the time of day alone where no date was recorded."""
    if start is None:
        return None
    return start.time().isoformat() if start.year == UNDATED_YEAR else start.isoformat()


def _plain(value: object) -> Any:
    """Return a condition as JSON can hold it; dates and times as text."""
    if value is None or isinstance(value, (str, int, float, bool)):
        return value
    if isinstance(value, (list, tuple)):
        return [_plain(part) for part in value]
    if isinstance(value, dict):
        return {str(key): _plain(part) for key, part in value.items()}
    return str(value)
