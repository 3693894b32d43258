"""What is true of devices and phases and stands in no setup file."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.simulate import (
    TrueDevice,
    TrueGauge,
    TruePhase,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


__all__ = ["Hidden", "Row", "setup", "true_devices", "true_phases"]

HERE = Path(__file__).resolve().parents[1]

Row = dict[str, str]


@dataclass(frozen=True, kw_only=True)
class Hidden:
    """What is true of one device and stands in no setup file."""

    capacity_wh: float
    power_w: Sequence[float]
    gauge: TrueGauge = field(default_factory=TrueGauge)
    extra: Mapping[str, Any] = field(default_factory=dict)


def setup(folder: str) -> dict[str, Any]:
    """Return the hand-written setup file of a sample."""
    return tomllib.loads((HERE / folder / "session.toml").read_text(encoding="utf-8"))


def true_devices(
    toml: Mapping[str, Any], activities: Sequence[str], truth: Mapping[str, Hidden]
) -> tuple[TrueDevice, ...]:
    """Return the devices of a setup file with what is true of them."""
    return tuple(
        TrueDevice(
            id=d["id"],
            label=d["label"],
            position=d["position"],
            capacity_wh=truth[d["id"]].capacity_wh,
            power_w=dict(zip(activities, truth[d["id"]].power_w, strict=True)),
            gauge=truth[d["id"]].gauge,
            **truth[d["id"]].extra,
        )
        for d in toml["devices"]
    )


def true_phases(
    toml: Mapping[str, Any], gaps: Mapping[str, float], short_turns: Mapping[str, float]
) -> tuple[TruePhase, ...]:
    """Return the phases of a setup file with the gaps after them and the turns broken off."""
    return tuple(
        TruePhase(
            id=p["id"],
            label=p["label"],
            activity=p.get("activity", ""),
            kind=p.get("kind", "plain"),
            length_min=p.get("planned_min"),
            gap_after_min=gaps.get(p["id"], 0.0),
            parts=tuple(p["parts"]) if "parts" in p else None,
            first_half=tuple(p.get("first_half", ())),
            turn_min=p.get("turn_min"),
            short_turns=short_turns if p.get("kind") == "rotation" else {},
        )
        for p in toml["phases"]
    )
