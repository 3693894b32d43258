"""The full-day sample, start to end: structure and numbers, each worked out by hand beside it.

Nothing here looks at pixels. The arithmetic uses the log alone: clock times are floored minutes, so
a look noted at 17:20 was made in [17:20, 17:21), and the start noted at 08:00 in [08:00, 08:01).
"""

import json
import re

import pytest

from kit import report
from kit.display import Block, Picture, Prose, Table
from kit.places import samples_folder, templates_folder
from kit.show import wording

SECTIONS = [
    "At a glance", "Setup", "Conditions", "Protocol", "Data quality", "State of charge over time",
    "Per-phase drain", "Standing after each phase", "Shared and rotated phases",
    "Runtimes and order", "What may be said", "Readings to check", "Replicates",
    "Uncertainty budget", "Projections", "Energy and power", "Cautions on heat and charging",
    "Limits of this comparison", "Revision history", "How to reproduce", "References",
]  # fmt: skip


@pytest.fixture(scope="module")
def results():
    return report.load(str(samples_folder() / "full-day"), draws=10_000)


def test_the_report_has_its_sections_in_order():
    book = json.loads((templates_folder() / "session_report.ipynb").read_text(encoding="utf-8"))
    text = "\n".join("".join(c["source"]) for c in book["cells"] if c["cell_type"] == "markdown")
    assert re.findall(r"^## (.+)$", text, re.MULTILINE) == SECTIONS


@pytest.mark.parametrize(
    ("device", "low_min", "high_min", "ranks"),
    [
        ("limpet", 560 - 1, 563 + 1, (2, 3)),  # on 17:20, off 17:23
        ("periwinkle", 536 - 1, 539 + 1, (4, 4)),  # on 16:56, off 16:59
        ("dunlin", 498 - 1, 501 + 1, (5, 5)),  # on 16:18, off 16:21
        ("whelk", 561 - 1, 564 + 1, (2, 3)),  # on 17:21, off 17:24
    ],
)
def test_runtimes_are_the_noted_minutes(results, device, low_min, high_min, ranks):
    row = results.runtimes.set_index("device").loc[device]
    assert row["runtime_h_low"] * 60 == pytest.approx(low_min)
    assert row["runtime_h_high"] * 60 == pytest.approx(high_min)
    assert (row["rank_best"], row["rank_worst"]) == ranks


def test_the_survivor_has_a_bound_and_no_number(results):
    row = results.runtimes.set_index("device").loc["kelpfin"]  # on at 18:00, minute 600
    assert row["right_censored"]
    assert row["runtime_h_low"] * 60 == pytest.approx(600 - 1)
    assert row["runtime_h_high"] != row["runtime_h_high"]  # NaN: no upper end
    assert (row["rank_best"], row["rank_worst"]) == (1, 1)


@pytest.mark.parametrize(
    ("device", "drain"),
    [("limpet", 48 - 39), ("kelpfin", 56 - 48), ("periwinkle", 48 - 38), ("whelk", 50 - 40)],
)
def test_a_phase_read_at_both_ends_drained_the_difference(results, device, drain):
    """Fourth phase, 60 min: ± 0.80 pp of resolution, and less than 0.2 pp of reading delay."""
    row = results.phase_drain.query(
        "phase == 'p4' and measurand == 'displayed' and device == @device"
    ).iloc[0]
    assert row["drain_pp"] == pytest.approx(drain, abs=0.2)
    assert row["drain_pp_high"] - row["drain_pp_low"] == pytest.approx(2 * 0.85, abs=0.1)


def test_energy_of_a_phase_is_percent_times_rated_times_health(results):
    """Fourth phase, 9 pp: 0.09 × 30.2 Wh × 0.97 = 2.64 Wh; the gauge's curve moves it < 10 %."""
    row = results.energy.query("phase == 'p4' and device == 'limpet'").iloc[0]
    assert row["energy_wh"] == pytest.approx(0.09 * 30.2 * 0.97, rel=0.1)
    assert row["energy_wh_low"] < 0.09 * 30.2 * 0.97 < row["energy_wh_high"]


def test_forty_minutes_are_not_accounted_for(results):
    """10:00 by the clock − (60 + 75 + 120 + 60 + 60 + 65 + 60 + 60) min in phases = 40 min."""
    assert wording.unaccounted_min(results, 1) == pytest.approx(600 - 560)


def test_the_first_page_says_who_and_what_is_tied(results):
    headline, claims, more, picture = report.glance(results)
    assert isinstance(headline, Prose)
    assert isinstance(claims, Table)
    assert isinstance(more, Prose)
    assert isinstance(picture, Picture)
    (lead,) = headline.blocks
    bullets = more.blocks
    assert isinstance(lead, Block)
    assert lead.text.startswith("Kelpfin 11 lasted longest: it was still on")
    # 600 − 1 minutes on, the next one off by 564 + 1 at the latest: 35 min in floored minutes
    assert "at least 35\N{NO-BREAK SPACE}min" in lead.text
    assert any("Whelk 10 Plus and Limpet 10" in b.text for b in bullets)
