"""Two sets of results of one session: which figures moved, which statements changed.

Works on the plain data of `kit.show.results_data.results_data`, as it stands in ``results.json``.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from kit.revise.statements import Statement, statements

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

__all__ = ["Comparison", "Move", "compare"]

LEAST_PER_U = 0.01
"""A figure counts as moved from this share of its standard uncertainty on.

Below it no printed digit changes (`kit.units` prints two digits of the uncertainty), and the
Monte Carlo figures change by about as much with their seed. Chosen, no source.
"""

Scale = Literal["u", "half_interval", ""]


@dataclass(frozen=True, kw_only=True)
class Move:
    """One figure before and after.

    Parameters
    ----------
    table, quantity
        Where it stands: table and column.
    run, phase, device, detail
        What it is of; empty where that does not apply. ``detail``: part, other device or name
        of the quantity.
    old, new
        The figures; NaN for none.
    unit
        Their unit.
    scale, size
        What the move is measured by: the earlier standard uncertainty (the later one if there was
        none before), or half the coverage interval where no ``u`` is stated.
    """

    table: str
    quantity: str
    run: int | None
    phase: str
    device: str
    detail: str
    old: float
    new: float
    unit: str
    scale: Scale
    size: float

    @property
    def moved(self) -> float:
        """Return the difference, new minus old; NaN if one of them is missing."""
        return self.new - self.old

    @property
    def per_scale(self) -> float:
        """Return the size of the move in units of the scale; infinite without a scale."""
        if math.isnan(self.moved):
            return math.nan
        return abs(self.moved) / self.size if self.size > 0 else math.inf * abs(self.moved)


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """What is different between two sets of results.

    Parameters
    ----------
    figures
        How many figures were compared.
    moves
        Those that moved, the largest against its uncertainty first.
    statements
        How many statements were compared.
    changed
        Those that changed: before and after; ``None`` where there was or is no such statement.
    before, after
        All statements of both.
    """

    figures: int
    moves: tuple[Move, ...]
    statements: int
    changed: tuple[tuple[Statement | None, Statement | None], ...]
    before: Mapping[tuple[Any, ...], Statement]
    after: Mapping[tuple[Any, ...], Statement]


class _Figures(NamedTuple):
    """Which columns of a table are figures, and which say of what."""

    table: str
    quantities: tuple[tuple[str, str], ...]
    detail: tuple[str, ...] = ()


FIGURES = (
    _Figures("phase_drain", (("drain_pp", "pp"), ("rate_pp_per_h", "pp/h")), ("measurand",)),
    _Figures("standing", (("total_drain_pp", "pp"),)),
    _Figures("runtimes", (("runtime_h", "h"),)),
    _Figures("projections", (("hours", "h"),)),
    _Figures("energy", (("energy_wh", "Wh"), ("power_w", "W"))),
    _Figures("parts", (("rate_pp_per_h", "pp/h"),), ("part",)),
    _Figures("replicates", (("mean", ""),), ("quantity",)),
    _Figures("replicate_models", (("mean", ""),), ("model", "quantity")),
    _Figures("replicate_pairs", (("difference", ""),), ("device_a", "device_b", "quantity")),
    _Figures("run_effects", (("effect", ""),), ("quantity",)),
    _Figures("restricted_means", (("mean_h", "h"),)),
)


def compare(before: Mapping[str, Any], after: Mapping[str, Any]) -> Comparison:
    """Return what is different between two sets of results.

    Parameters
    ----------
    before, after
        Results as plain data, of the same session before and after a correction, with the same
        settings.
    """
    old = {key: found for spec in FIGURES for key, found in _figures(before, spec)}
    new = {key: found for spec in FIGURES for key, found in _figures(after, spec)}
    moves = []
    for key in [*new, *(key for key in old if key not in new)]:
        move = _move(key, old.get(key), new.get(key))
        if _has_moved(move):
            moves.append(move)
    moves.sort(key=lambda m: -m.per_scale if not math.isnan(m.per_scale) else -math.inf)
    first, second = statements(before), statements(after)
    keys = [*second, *(key for key in first if key not in second)]
    changed = tuple(
        (first.get(key), second.get(key))
        for key in keys
        if first.get(key) != second.get(key)
        # which claims are judged depends on the order of devices; what is judged in one of the
        # two only has no verdict that could have changed
        and (key[0] != "claim" or (key in first and key in second))
    )
    return Comparison(
        figures=len(old.keys() | new.keys()),
        moves=tuple(moves),
        statements=len(keys),
        changed=changed,
        before=first,
        after=second,
    )


class _Found(NamedTuple):
    value: float
    u: float
    half: float
    unit: str


_Key = tuple[str, str, int | None, str, str, str, int]


def _figures(data: Mapping[str, Any], spec: _Figures) -> Iterator[tuple[_Key, _Found]]:
    table = data["tables"].get(spec.table)
    if table is None:
        return
    seen: Counter[tuple[Any, ...]] = Counter()
    for cells in table["rows"]:
        row = dict(zip(table["columns"], cells, strict=True))
        detail = ", ".join(str(row[name]) for name in spec.detail)
        of = (row.get("run"), row.get("phase") or "", row.get("device") or "", detail)
        seen[of] += 1
        for quantity, unit in spec.quantities:
            low, high = _number(row.get(f"{quantity}_low")), _number(row.get(f"{quantity}_high"))
            yield (
                (spec.table, quantity, *of, seen[of]),
                _Found(
                    _number(row[quantity]),
                    _number(row.get(f"{quantity}_u")),
                    (high - low) / 2,
                    unit or str(row.get("unit_symbol", "")),
                ),
            )


def _number(value: object) -> float:
    return float(value) if isinstance(value, (int, float)) else math.nan


def _move(key: _Key, old: _Found | None, new: _Found | None) -> Move:
    table, quantity, run, phase, device, detail, _ = key
    held = [found for found in (old, new) if found is not None]
    scale: Scale = ""
    size = 0.0
    for name, sizes in (("u", [f.u for f in held]), ("half_interval", [f.half for f in held])):
        usable = [s for s in sizes if math.isfinite(s) and s > 0]
        if usable:
            scale, size = ("u" if name == "u" else "half_interval"), usable[0]
            break
    return Move(
        table=table,
        quantity=quantity,
        run=run,
        phase=phase,
        device=device,
        detail=detail,
        old=old.value if old else math.nan,
        new=new.value if new else math.nan,
        unit=held[-1].unit,
        scale=scale,
        size=size,
    )


def _has_moved(move: Move) -> bool:
    if math.isnan(move.old) or math.isnan(move.new):
        return math.isnan(move.old) != math.isnan(move.new)
    if move.scale:
        return move.per_scale >= LEAST_PER_U
    return not math.isclose(move.old, move.new, rel_tol=1e-9, abs_tol=1e-12)
