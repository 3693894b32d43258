"""Tables of the uncertainty: budget, assumptions, shares and the agreement of two methods."""

from __future__ import annotations

from dataclasses import replace

from kit.session import Assumptions
from kit.show import tables
from tests.helpers.fake_results import fake_results, field_day, rows
from tests.helpers.shown import plain


def test_the_budget_says_source_value_effect_and_reference() -> None:
    table = tables.budget(fake_results())
    assert tuple(tuple(map(plain, row)) for row in table.rows) == (
        ("Resolution: Whole percentages at both ends", "triangular", "1 pp", "0.41", "type B",
         "GUM F.2.2.1"),
    )  # fmt: skip


def test_assumptions_tell_defaults_from_what_was_stated() -> None:
    used = Assumptions(gauge_error_pp=2.0, stated=frozenset({"gauge_error_pp"}))
    table = tables.assumptions(fake_results(field_day(assumptions=used)))
    gauge = next(r for r in table.rows if r[0].startswith("Largest error of the gauge"))
    assert tuple(map(plain, gauge[1:])) == ("2 pp", "setup file")
    assert {r[2] for r in table.rows} == {"setup file", "the kit's default"}
    assert len(table.rows) == len(vars(used)) - 1


def test_the_share_of_each_source_is_a_mean_over_all_results_of_a_kind() -> None:
    one = {"phase": "browse", "quantity": "energy", "unit_symbol": "Wh"}
    frame = rows(
        "budgets",
        [
            # u² of the first is 9 + 16, all of the second is the gauge's 4
            {**one, "device": "limpet", "u": 5.0, "source": "gauge", "u_source": 3.0,
             "share": 0.36},
            {**one, "device": "limpet", "u": 5.0, "source": "health", "u_source": 4.0,
             "share": 0.64},
            {**one, "device": "whelk", "u": 2.0, "source": "gauge", "u_source": 2.0, "share": 1.0},
        ],
    )  # fmt: skip
    table = tables.shares(replace(fake_results(), extra={"budgets": frame}))
    assert table is not None
    # gauge (0.36 + 1)/2, health (0.64 + 0)/2, the middle of 5 and 2
    assert [tuple(map(plain, row)) for row in table.rows] == [
        ("gauge deviation", "68"), ("battery health", "32"), ("all together: middle u", "3.5 Wh"),
    ]  # fmt: skip
    assert tables.shares(fake_results()) is None


def test_agreement_counts_and_says_why_not() -> None:
    frame = rows(
        "agreement",
        [
            {"phase": "browse", "device": "limpet", "gum_low": 11.12, "gum_high": 12.88,
             "mc_low": 11.16, "mc_high": 12.84, "tolerance_pp": 0.05, "agrees": True},
            {"phase": "browse", "device": "whelk", "gum_low": 0.0, "gum_high": 0.84,
             "mc_low": 0.01, "mc_high": 0.95, "tolerance_pp": 0.05, "agrees": False,
             "why": "one-sided"},
        ],
    )  # fmt: skip
    table = tables.agreement(fake_results(agreement=frame))
    assert table is not None
    assert [plain(c) for c in table.rows[0][1:]] == ["2", "1", "0.110", "0.050", "one-sided"]
    assert tables.agreement(fake_results(agreement=rows("agreement"))) is None
