"""Tables of repeated runs: no scatter finer than one result shows, and no row without a figure."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from kit.session import Device
from kit.show import tables
from kit.show.tables.replicates import BELOW_NOTE
from kit.units import NO_BREAK
from tests.helpers.fake_results import fake_results, field_day, rows

if TYPE_CHECKING:
    from kit.display import Table

DRAIN = {"quantity": "drain:browse", "unit_symbol": "pp", "runs": 3, "dof": 2.0}


def cells(table: Table, device: str) -> list[str]:
    """Return the cells of scatters and limits of the only row of a device."""
    (row,) = (row for row in table.rows if row[0] == device)
    return [cell.replace(NO_BREAK, " ") for cell in row[4:]]


def one_run_each(**scatters: tuple[float, float]) -> Any:
    """Return results with means of drains in "browse": s_r and the limit by device."""
    frame = rows(
        "replicates",
        [
            DRAIN | {"device": device, "mean": 10.0, "mean_low": 9.0, "mean_high": 11.0,
                     "s_r": s, "repeatability_limit": limit}
            for device, (s, limit) in scatters.items()
        ],
    )  # fmt: skip
    return fake_results(replicates=frame)


def test_no_scatter_below_the_resolution_is_stated() -> None:
    """Two readings in whole per cents: u = 0.41 pp, so 0.01 pp is not seen, nor a limit of 0.03.

    2.8 × 0.41 = 1.148, rounded up.
    """
    table = tables.replicates(one_run_each(limpet=(0.01, 0.028), whelk=(0.58, 1.62)))
    assert cells(table, "limpet") == ["below 0.41 pp", "below 1.15 pp", "2"]
    assert cells(table, "whelk") == ["0.58 pp", "1.62 pp", "2"]
    assert BELOW_NOTE in table.notes
    assert BELOW_NOTE not in tables.replicates(one_run_each(whelk=(0.58, 1.62))).notes


def test_equal_runs_are_below_the_resolution_too() -> None:
    assert cells(tables.replicates(one_run_each(whelk=(0.0, 0.0))), "whelk")[0] == "below 0.41 pp"


def test_no_scatter_between_units_below_the_resolution() -> None:
    """0.00 (0.00 to 0.00) says that two units are alike to 0.01 pp; no display shows that."""
    twins = [Device(id=d, label=d, model="Limpet 10") for d in ("limpet", "kelpfin")]
    day = field_day()
    others = [d for d in day.devices if d.id not in ("limpet", "kelpfin")]
    kind = {"model": "Limpet 10", "units": 2, "quantity": "drain:browse", "unit_symbol": "pp",
            "runs": 6, "mean": 12.0, "mean_low": 10.0, "mean_high": 14.0, "dof": 1.0, "s_r": 0.6,
            "repeatability_limit": 1.68}  # fmt: skip
    told = []
    for s_l, low, high in ((0.0, 0.0, 0.0), (0.0, 0.0, 7.14), (0.71, 0.31, 22.74)):
        frame = rows("replicate_models", [kind | {"s_l": s_l, "s_l_low": low, "s_l_high": high}])
        results = fake_results(field_day(devices=(*twins, *others)))
        table = tables.replicate_models(replace(results, extra={"replicate_models": frame}))
        assert table is not None
        told.append(table.rows[0][7].replace(NO_BREAK, " "))
    assert told == ["below 0.41 pp", "below 0.41 (0.00 to 7.14) pp", "0.71 (0.31 to 22.74) pp"]


def test_a_drain_without_a_value_is_no_row_but_a_note() -> None:
    """Periwinkle died in "film"; of the others there is a row, or no run was read."""
    day = fake_results()
    shown = day.phase_drain[day.phase_drain["measurand"] == "displayed"]
    died = shown[shown["status"].isin(["died"])].iloc[0]
    read = shown[shown["status"] == "measured"].iloc[0]
    empty = [
        {"device": row.device, "quantity": f"drain:{row.phase}", "unit_symbol": "pp", "runs": 0,
         "flags": "no_value"}
        for row in (died, read)
    ]  # fmt: skip
    off = {"device": "limpet", "quantity": "runtime", "unit_symbol": "h", "runs": 0,
           "flags": "no_value"}  # fmt: skip
    table = tables.replicates(fake_results(replicates=rows("replicates", [*empty, off])))
    assert [row[1] for row in table.rows] == ["runtime"]
    names = {p.id: p.label for p in day.session.phases}
    assert table.notes[:2] == (
        f"Ended by power-offs, so not averaged: drain in {names[died.phase]} of {died.device}.",
        f"No run gave a value: drain in {names[read.phase]} of {read.device}.",
    )
