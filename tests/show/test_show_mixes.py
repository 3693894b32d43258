"""Mixes of activities as they are shown: hours, who leads, and where the leader changes."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from kit import report
from kit.analyse import analyse
from kit.display import Picture, Table
from kit.drain.mix_winners import mix_shifts
from kit.drain.usage_mix import OWN_MIX, chosen_mixes, mix_from_text, own_mix
from kit.errors import UsageError
from kit.results import Results, Settings
from kit.session import Device, Gauge, Phase, Session
from kit.show import pictures, tables, wording
from tests.helpers.builders import BARE, COMPLETE_CONDITIONS, join_runs, make_session
from tests.helpers.fake_results import fake_results, rows
from tests.helpers.shown import plain

FEW = Settings(draws=10_000)


def two(mixes: dict[str, dict[str, float]] | None = None, **changes: object) -> Session:
    """Return a and b, one hour idle and one hour gaming: 5 and 20 pp/h against 10 and 15 pp/h."""
    given = {
        "devices": [Device(id=n, label=n.upper(), gauge=Gauge(counts="energy")) for n in "ab"],
        "phases": [Phase(id=p, label=p, activity=p, planned_min=60) for p in ("idle", "game")],
        "readings": {"a": [95, 90, 70], "b": [95, 85, 70]},
        "assumptions": BARE,
        "conditions": COMPLETE_CONDITIONS,
        "mixes": {"half": {"idle": 1, "game": 1}} if mixes is None else mixes,
    }
    return make_session(**{**given, **changes})


def results_of(session: Session, settings: Settings = FEW) -> Results:
    return analyse(session, (), settings)


def test_the_winner_changes_where_the_lines_cross() -> None:
    """With w idle: a drains 20 − 15w, b 15 − 5w pp/h, equal at w = ½.

    At w = ¼: 16.25 and 13.75, 2.5 apart; r = ¼(D₀ − D₁) + ¾(D₁ − D₂), so |c| = ¼ + ½ + ¾ and
    the hard bound is ½ × 1.5 = 0.75 for each, 1.5 for both: the lead of b stands. So does that
    of a at w = ¾, by 8.75 against 11.25.
    """
    found = mix_shifts(two(), Settings())
    assert found[["share_from", "share_to", "device", "supported"]].values.tolist() == [
        [0.0, 0.5, "b", True], [0.5, 1.0, "a", True],
    ]  # fmt: skip
    assert found["share"].tolist() == [0.5, 0.5]


def test_the_table_has_hours_places_and_what_a_mix_is() -> None:
    """12.5 pp/h on half and half for both: 8.0 h, U = 0.40 pp/h: 7.75 to 8.27 h."""
    (table,) = tables.mixes(results_of(two({"half": {"idle": 3, "game": 3}})))
    assert [plain(c.name) for c in table.columns] == ["Device", "half", OWN_MIX]
    assert [plain(cell) for cell in table.rows[0]] == [
        "A", "8.0 (7.7 to 8.3) [1–2]", "8.0 (7.7 to 8.3) [1–2]",
    ]  # fmt: skip
    assert plain(table.notes[0]) == "“half”: idle 50 %, game 50 % of the time."


def test_the_own_mix_names_what_it_leaves_out() -> None:
    """Idle 60 min, gaming 60 min, video 80 min, in which only a was read: 80 of 200 min, 40 %."""
    phases = [
        Phase(id=p, label=p, activity=p, planned_min=length)
        for p, length in (("idle", 60), ("game", 60), ("video", 80))
    ]
    changes = {"phases": phases, "readings": {"a": [95, 90, 70, 50], "b": [95, 85, 70]}}
    (table,) = tables.mixes(results_of(two({}, **changes)))
    assert plain(table.notes[0]).startswith("“as in this session”: idle 50 %, game 50 %")
    assert plain(table.notes[1]) == (
        "“as in this session” leaves out video, 40 % of the time, for want of a phase of every "
        "device that can stand for it."
    )
    (whole,) = tables.mixes(results_of(two({})))
    assert not any("leaves out" in note for note in whole.notes)


def test_what_is_left_out_of_a_shared_phase_counts_by_its_parts() -> None:
    """Crossover of 60 min, half map, half film; b was not read at its end: 60 of 180 min, 33 %."""
    phases = [
        *(Phase(id=p, label=p, activity=p, planned_min=60) for p in ("idle", "game")),
        Phase(id="both", label="both", kind="crossover", parts=("map", "film"), planned_min=60,
              first_half=("a",)),
    ]  # fmt: skip
    inside = [{"device": "a", "phase": "both", "point": "inside", "t_min": 150.0, "soc_pct": 60}]
    changes = {"phases": phases, "readings": {"a": [95, 90, 70, 50], "b": [95, 85, 70]},
               "more_readings": inside}  # fmt: skip
    (table,) = tables.mixes(results_of(two({}, **changes)))
    assert "leaves out map and film, 33 % of the time" in plain(table.notes[1])


def test_a_mix_that_a_device_cannot_do_says_what_is_missing() -> None:
    session = two({"half": {"idle": 1, "game": 1}}, readings={"a": [95, 90, 70], "b": [95, 85]})
    (table,) = tables.mixes(results_of(session))
    assert table.rows[1][1] == "–"
    assert any(plain(n).endswith("that can stand for game: B.") for n in table.notes)


def test_the_sessions_own_mix_is_the_time_that_all_devices_spent() -> None:
    phases = [
        Phase(id=p, label=p, activity=a, planned_min=m)
        for p, a, m in (("p1", "idle", 60), ("p2", "game", 30), ("p3", "idle", 60), ("p4", "x", 60))
    ]
    session = two({}, phases=phases, readings={"a": [95, 90, 80, 75, 60], "b": [95, 85, 78, 70]})
    # idle twice 60 min, game 30 min; b has no end of p4, so x is no part of it
    assert own_mix(session) == {"idle": 2.0, "game": 0.5}
    assert list(chosen_mixes(session, Settings(mix="game 1"))) == ["as asked for", OWN_MIX]
    assert own_mix(two({}, phases=phases[:1], readings={"a": [95, 90], "b": [95, 85]})) == {}


def test_mixes_on_which_nothing_stands_are_not_listed_one_by_one() -> None:
    frame = rows("mixes", [
        {"run": run, "mix": mix, "device": d, "hours": 10.0, "rank_best": 1, "rank_worst": 2}
        for run in (1, 2) for mix in ("x", "y") for d in ("a", "b")
    ])  # fmt: skip
    one = make_session(phases={"p1": 60}, readings={"a": [90, 80], "b": [90, 80]})

    def said(mixes: list[str], *sessions: Session) -> tuple[str, ...]:
        here = frame[frame["mix"].isin(mixes) & (frame["run"] <= len(sessions))]
        results = replace(fake_results(join_runs(*sessions)), extra={"mixes": here})
        return tuple(map(plain, wording.mix_order(results)))

    tail = "can one device be called the longest-lasting: the intervals leave more than one in"
    assert said(["x", "y"], one, one) == (f"On no mix in any run {tail} first place.",)
    assert said(["x", "y"], one) == (f"On no mix {tail} first place.",)
    (text,) = said(["x"], one, one)
    assert text.startswith("On “x” in run 1 and “x” in run 2 no one device")


def test_sentences_name_the_leader_or_leave_it_open() -> None:
    results = results_of(two({"idling": {"idle": 3, "game": 1}, "half": {"idle": 1, "game": 1}}))
    first, second = (plain(text) for text in wording.mix_order(results))
    # 8.75 pp/h is 11.43 h; the hard bound of a pair is 1.5, its lead 2.5 pp/h
    assert first.startswith("On “idling”, A lasts longest: 11.4 (")
    assert second.startswith("On “half” and “as in this session” no one device can be called")
    (text, *_) = wording.shift_sentences(results)
    assert plain(text) == (
        "“idling” spends 75 % of its time on idle. With another share the estimate changes: above "
        "50 % A comes first instead of B; the lead of B and A stands."
    )


def test_the_same_leader_at_every_share_is_said_in_one_sentence() -> None:
    session = two(readings={"a": [95, 90, 80], "b": [95, 80, 60]})
    results = results_of(session)
    assert wording.shift_sentences(results) == (
        "Whatever share of the time one of the activities takes, the estimate has A last longest, "
        "and that lead stands.",
    )
    assert pictures.mix_shifts(results) is None


def test_the_figure_is_filled_where_a_lead_stands_and_outlined_elsewhere() -> None:
    sure = pictures.mix_shifts(results_of(two()))
    assert isinstance(sure, Picture)
    assert "0 % to 50 % B, lead stands; 50 % to 100 % A, lead stands" in plain(sure.alt)
    # 10 min of each: the same rates, a sixth of the drain, and nothing stands
    short = two(
        phases=[Phase(id=p, label=p, activity=p, planned_min=12) for p in ("idle", "game")],
        readings={"a": [95, 94, 90], "b": [95, 93, 90]},
    )
    unsure = pictures.mix_shifts(results_of(short))
    assert isinstance(unsure, Picture)
    assert "lead stands" not in unsure.alt
    filled = re.compile(r'<path[^>]*style="fill: #(?:3d8fe6|b84010)[^"]*opacity: 0.45')
    assert len(filled.findall(sure.svg)) == 2
    assert not filled.findall(unsure.svg)


def test_a_record_without_mixes_has_no_part_on_them() -> None:
    one = make_session(phases={"p1": 60}, readings={"a": [95, 90]}, assumptions=BARE)
    results = results_of(one)
    assert tables.mixes(results) == ()
    assert not any(isinstance(i, Table) and i.id == "mixes" for i in report.projections(results))
    assert any("mix of activities" in text for text in wording.not_computed(results))


@pytest.mark.parametrize(
    ("text", "says"), [("map", "'map'"), ("map three", "'map three'"), ("map 0", "above 0")]
)
def test_a_mix_that_cannot_be_read_says_how_to_write_it(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        mix_from_text(text)
    with pytest.raises(UsageError, match=r"^mix: "):
        report.load("sample_sessions/scorecard", mix=text)


def test_a_mix_of_the_notebook_is_shown_first_and_stands_among_the_parameters() -> None:
    results = report.load("sample_sessions/scorecard", draws=10_000, mix="map 1, photo 3")
    (table,) = tables.mixes(results)
    assert table.columns[1].name == "as asked for"
    assert plain(table.notes[0]) == "“as asked for”: photo 75 %, map 25 % of the time."
    assert ("mix", "map 1, photo 3") in tables.parameters(results).rows
    with pytest.raises(UsageError, match="no phase has the activity call"):
        report.load("sample_sessions/scorecard", mix="call 1")


def test_many_mixes_are_set_in_several_tables() -> None:
    mixes = {f"m{k}": {"idle": 1.0, "game": float(k)} for k in range(1, 7)}
    found = tables.mixes(results_of(replace(two(), mixes=mixes)))
    assert [t.id for t in found] == ["mixes-1", "mixes-2"]
    assert [len(t.columns) - 1 for t in found] == [4, 3]
    assert found[0].notes == ()
