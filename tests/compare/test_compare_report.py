"""What the cells of the comparison notebook call, and the notebook itself."""

import ast
import json
from pathlib import Path

import pytest

from kit import compare_report
from kit.compare.data import comparison_data
from kit.compare.prose import limits
from kit.display import Picture, Prose, Table
from kit.errors import RecordError, UsageError
from kit.places import samples_folder, templates_folder
from tests.helpers.compare_days import compared, day, device

PAGES = (
    "title_block", "glance", "order", "history", "claims", "changes", "comparable", "pairs",
    "phases", "spread", "identity", "methods", "limits", "reproduce", "references",
)  # fmt: skip
SESSIONS = "sample_sessions/full-day\nsample_sessions/autumn-check"
NB = "\N{NO-BREAK SPACE}"


@pytest.fixture(scope="module")
def sample():
    return compare_report.load(SESSIONS)


def tables(page):
    return {item.id: item for item in page if isinstance(item, Table)}


def prose(page):
    return "\n".join(item.text for item in page if isinstance(item, Prose)).replace(NB, " ")


def test_the_notebook_holds_imports_assignments_and_calls_only():
    notebook = json.loads((templates_folder() / "compare_sessions.ipynb").read_text())
    used = set()
    for cell in notebook["cells"]:
        if cell["cell_type"] != "code":
            continue
        for node in ast.parse("".join(cell["source"])).body:
            assert isinstance(node, ast.ImportFrom | ast.Assign | ast.Expr), ast.dump(node)
            for inner in ast.walk(node):
                assert not isinstance(
                    inner,
                    ast.BinOp | ast.Compare | ast.Subscript | ast.For | ast.If | ast.Lambda,
                )
                if isinstance(inner, ast.Attribute):
                    used.add(inner.attr)
    # every section of the facade is shown, and nothing that is not there is called
    assert used == {*PAGES, "show", "load", "data"}


def test_the_sample_says_what_its_truth_says(sample):
    """Goby 10 truly runs 11:51, Limpet 10 9:02 to 9:21, the rest less but for Kelpfin 11."""
    order = tables(compare_report.order(sample))["order"]
    assert [row[0] for row in order.rows] == [
        "Goby 10", "Kelpfin 11", "Whelk 10 Plus", "Limpet 10", "Periwinkle 8", "Curlew 11",
    ]  # fmt: skip
    assert [row[1] for row in order.rows] == ["1–2", "1–6", "2–6", "2–6", "2–6", "2–6"]
    assert order.rows[1][2].startswith(">")
    text = prose(compare_report.glance(sample))
    assert "Goby 10 cannot be told from Kelpfin 11, and not every runtime was seen" in text
    assert "Goby 10 runs longer than Whelk 10 Plus, Limpet 10, Periwinkle 8 and Curlew 11" in text
    history = tables(compare_report.history(sample))["history"]
    assert [(row[2], row[3]) for row in history.rows] == [
        ("Kelpfin 11", "first"), ("Goby 10", "new leader"),
    ]  # fmt: skip
    pairs = tables(compare_report.pairs(sample))["pairs"]
    # of 21 pairs of seven devices, six have Dunlin 9 in them
    assert len(pairs.rows) == 15
    assert pairs.rows[1][:2] == ("Goby 10", "Whelk 10 Plus")
    assert pairs.rows[1][3:] == ("linked through Limpet 10", "–", "Goby 10 runs longer")
    assert pairs.rows[2][4] == "1 : 0 of 1"
    apart = tables(compare_report.comparable(sample))["not-compared"]
    assert {row[2] for row in apart.rows} == {"they ran under different settings (power saver)"}
    changes = tables(compare_report.changes(sample))
    # truly 9:21 and 9:02, 3.4 % shorter: less than 3 % from day to day may bring
    assert changes["runtime-changes"].rows[0][-1] == "no change beyond the scatter"
    told = {r[2]: r[3].replace(NB, " ") for r in changes["what-changed"].rows}
    assert told["alike"] == "Software: Tideline 5.1 → Tideline 5.1; Battery health: 97 % → 95 %"
    assert told["differs: listed only"].startswith("Held on the charger after full: 45 min → 30")
    left = tables(compare_report.phases(sample))["unmatched-phases"]
    assert len(left.rows) == 6


def test_the_figure_says_in_words_what_it_draws(sample):
    (picture,) = [item for item in compare_report.order(sample) if isinstance(item, Picture)]
    assert "Goby 10, place 1st or 2nd" in picture.alt
    assert "Kelpfin 11, place 1st to 6th, at least" in picture.alt.replace(NB, " ")
    for name in ("Goby 10", "Curlew 11", "2nd to 6th", "reference", "not seen off"):
        assert name in picture.svg
    # not by colour alone: six devices, six markers
    assert picture.svg.count("<use ") >= 6


def test_every_page_of_a_comparison_without_common_ground_says_why():
    found = compared(day(1, {"a": 600}), day(2, {"b": 400}, conditions={}))
    for name in PAGES:
        assert getattr(compare_report, name)(found), name
    assert compare_report.NO_ORDER in prose(compare_report.glance(found))
    assert compare_report.NO_ORDER in prose(compare_report.order(found))
    assert compare_report.NO_RETURN in prose(compare_report.changes(found))
    assert compare_report.NO_PHASES in prose(compare_report.phases(found))
    assert "NaN" not in json.dumps(compare_report.data(found)._repr_mimebundle_())


def test_a_comparison_without_any_runtime_is_a_page_too():
    found = compared(day(1, {}, devices=[device("a")]), day(2, {}, devices=[device("a")]))
    for name in PAGES:
        assert getattr(compare_report, name)(found), name
    assert [h.leader for h in found.history] == ["", ""]


def test_of_many_pairs_only_the_nearest_are_printed():
    offs = {f"d{k:02d}": 400 + 9 * k for k in range(12)}
    found = compared(day(1, offs), day(2, {"d00": 410, "x": 390}))
    page = compare_report.pairs(found)
    # 13 devices: 78 pairs; 12 of the first, and 11 neighbours beside
    table = tables(page)["pairs"]
    assert len(table.rows) == 12 + 11
    assert table.notes[-1] == "55 further pairs are in the CSV tables."
    assert len(compare_report.data(found).results["tables"]["pairs"]["rows"]) == 78


def test_scatter_is_said_with_what_it_rests_on(sample):
    assert "an assumption: 3 %, the kit's default" in prose(compare_report.spread(sample))
    offs = {k: 400 + 50 * n for n, k in enumerate("abcde")}
    later = {k: v + n * n for n, (k, v) in enumerate(offs.items())}
    found = compared(day(1, offs), day(2, later))
    assert "taken from the devices that took part in several" in prose(compare_report.spread(found))
    few = compared(day(1, {"a": 400, "b": 400}), day(2, {"a": 400, "b": 600}))
    assert "they scatter more than that" in prose(compare_report.spread(few))


def test_same_sessions_same_pages_in_whatever_order_they_are_named(sample):
    turned = compare_report.load("\n".join(reversed(SESSIONS.split("\n"))))
    assert turned.fingerprint == sample.fingerprint
    for name in PAGES:
        assert getattr(compare_report, name)(turned) == getattr(compare_report, name)(sample), name


def test_numbers_for_machines_are_those_of_the_page(sample):
    data = comparison_data(sample, kit_version="x")
    pairs = [dict(zip(data["tables"]["pairs"]["columns"], r, strict=True))
             for r in data["tables"]["pairs"]["rows"]]  # fmt: skip
    (row,) = [r for r in pairs if {r["first"], r["second"]} == {"Goby 10", "Whelk 10 Plus"}]
    assert row["through"] == "Limpet 10"
    # four runtimes of 3 %, 6 % in all, and windows of some three minutes each
    assert row["u_scatter_pct"] == pytest.approx(6.0)
    assert row["u_pct"] ** 2 == pytest.approx(36.0 + row["u_window_pct"] ** 2)
    assert [s["fingerprint"] for s in data["sessions"]] == [
        m.session.fingerprint for m in sample.members
    ]


@pytest.mark.parametrize(
    ("options", "word"),
    [({"coverage": 1.0}, "coverage"), ({"same": "a"}, "FIRST=SECOND"), ({"session_cv": 3}, "0.05")],
)
def test_senseless_parameters_are_refused(options, word):
    with pytest.raises(UsageError, match=word):
        compare_report.load(SESSIONS, **options)


def test_a_record_that_did_not_pass_is_named_with_its_folder(tmp_path):
    bad = tmp_path / "spring"
    bad.mkdir()
    (bad / "log.csv").write_text(
        "event,phase,point,device,elapsed_min,soc_pct\nreading,p1,start,a,0,107\n"
    )
    with pytest.raises(RecordError) as caught:
        compare_report.load(f"{bad}\n{Path(samples_folder()) / 'full-day'}")
    assert caught.value.findings[0].file == "spring/log.csv"


def test_a_comparison_declared_for_one_day_is_not_judged_alone_here():
    days = [
        day(1, {"a": 600, "b": 500}, declared_comparison=("a", "b")),
        day(2, {"a": 610, "b": 505}),
    ]
    (said,) = [t for t in limits(compared(*days)) if "declared" in t]
    assert "of session\N{NO-BREAK SPACE}1 (2026-05-01) was declared" in said
    undeclared = compared(day(1, {"a": 600, "b": 500}), days[1])
    assert not any("declared" in t for t in limits(undeclared))
