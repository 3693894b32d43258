"""The composition of all analyses: complete frames, equal results, odd but honest records."""

import pickle
from dataclasses import replace

import pandas as pd
import pytest

import kit.analyse
from kit.analyse import analyse
from kit.checks import check_session
from kit.read.record import read_record
from kit.results import RESULT_COLUMNS, Results, Settings

SETTINGS = Settings(draws=10_000)
UNKNOWN_LENGTH = """event,phase,point,device,elapsed_min,soc_pct
reading,p1,start,a,0,100
reading,p1,start,b,0,100
reading,p1,end,a,60,90
reading,p1,end,b,60,88
reading,p2,end,a,120,78
reading,p2,end,b,120,75
power_off,p3,,a,400,
power_off,p3,,b,380,
"""


def results_of(path) -> Results:
    session, findings = read_record(path)
    return analyse(session, (*findings, *check_session(session)), SETTINGS)


@pytest.fixture
def bare(tmp_path):
    log = tmp_path / "log.csv"
    log.write_text(UNKNOWN_LENGTH, encoding="utf-8")
    return log


def test_a_log_with_phases_of_unknown_length_is_analysed(bare):
    drains = results_of(bare).phase_drain.query("measurand == 'displayed' and phase == 'p2'")
    # 90 − 78 = 12 pp and 88 − 75 = 13 pp, corrected by less than one delay's drain
    assert drains["drain_pp"].tolist() == pytest.approx([12, 13], abs=0.5)


def test_every_frame_has_its_columns(bare):
    results = results_of(bare)
    for name, columns in RESULT_COLUMNS.items():
        frame = results.extra[name] if name in results.extra else getattr(results, name)
        assert tuple(frame.columns) == columns, name


def test_equal_input_gives_equal_results(bare):
    first, second = results_of(bare), results_of(bare)
    for name in ("phase_drain", "agreement", "runtimes", "projections"):
        pd.testing.assert_frame_equal(getattr(first, name), getattr(second, name))


def test_monte_carlo_stops_when_its_figures_stand(bare):
    session, findings = read_record(bare)
    asked = analyse(session, findings, Settings()).extra["monte_carlo"]
    (made,) = asked.itertuples(index=False)
    # blocks of 10 000, two at least; one significant digit of u takes far fewer than 100 000
    assert made.draws % 10_000 == 0
    assert 20_000 <= made.draws < made.draws_most == 100_000
    assert made.digits == 1


def test_too_few_draws_for_two_blocks_are_made_as_asked(bare):
    (made,) = results_of(bare).extra["monte_carlo"].itertuples(index=False)
    assert made.draws == made.draws_most == 10_000
    assert made.digits != 1


def test_a_frame_is_made_when_it_is_first_read_and_once(bare, monkeypatch):
    asked = []

    def spied(name):
        real = getattr(kit.analyse, name)

        def spy(*args, **options):
            asked.append(name)
            return real(*args, **options)

        monkeypatch.setattr(kit.analyse, name, spy)

    for name in ("prepare", "enough_draws", "energy", "bearing", "claims", "phase_drain"):
        spied(name)
    results = results_of(bare)
    assert asked == []
    assert results.runtimes is results.runtimes
    assert asked == ["prepare"]
    assert "claims" in results.extra
    assert results.extra["claims"] is results.extra["claims"]
    assert asked == ["prepare", "claims"]


def test_results_are_the_same_after_replace_and_pickle(bare):
    results = results_of(bare)
    changed = replace(results, glance=("A sentence.",))
    assert changed.glance == ("A sentence.",)
    assert changed.energy is results.energy
    assert changed.extra is results.extra
    again = pickle.loads(pickle.dumps(results_of(bare)))
    for name in RESULT_COLUMNS:
        frames = [r.extra[name] if name in r.extra else getattr(r, name) for r in (results, again)]
        pd.testing.assert_frame_equal(*frames, check_exact=True)
