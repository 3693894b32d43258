"""The claims table of a session: of every run, over the runs, and of the kinds of device."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from kit.claims.judge import LEAST_URGENT, grounds
from kit.claims.kind_words import kind_statement, tell_kinds
from kit.claims.kinds import kind_pairs
from kit.claims.level_claims import tell_levels
from kit.claims.mean_claims import mean_rows
from kit.claims.runtime_claims import tell_runtime
from kit.claims.verdicts import SUPPORTED, VERDICTS
from kit.claims.words import Speech
from kit.drain.phases import prepare
from kit.frames import frame_of_rows
from kit.runtime.replicate_pairs import pairs_of
from kit.runtime.replicates import is_replicated, runtime_quantity
from kit.runtime.runtimes import runtime_tables

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from kit.claims.evidence import Evidence
    from kit.claims.judge import Ground, Judged
    from kit.claims.verdicts import Claim
    from kit.drain.phases import Prepared
    from kit.drain.readings import Observed
    from kit.results import Settings
    from kit.session import Session

__all__ = ["claims", "statement_of_run"]

_LEAST = ("drained_least", "least_doing")
"""Codes of sentences that several runs list if they stand in all of them."""

THIS_SESSION, KIND_OF_DEVICE = "this_session", "kind_of_device"


Row = tuple[object, ...]


def statement_of_run(speech: Speech, run: int, claim: Claim) -> str:
    """Return the sentence asked about one run as the table has it.

    Parameters
    ----------
    speech
        Names to say.
    run
        Number of the run.
    claim
        About that run.

    Examples
    --------
    >>> from kit.claims.verdicts import Claim
    >>> from tests.helpers.builders import join_runs, make_session
    >>> day = make_session(devices=["a", "b"])
    >>> claim = Claim(code="outlasted", a=0, b=1)
    >>> statement_of_run(Speech.of(day), 1, claim)
    'a outlasted b'
    >>> statement_of_run(Speech.of(join_runs(day, day)), 2, claim)
    'a outlasted b (run 2)'
    """
    statement = speech.statement(claim)
    return f"{statement} (run {run})" if len(speech.session.runs) > 1 else statement


def _run_row(speech: Speech, found: Evidence, claim: Claim, verdict: str, priority: int) -> Row:
    if claim.measurand == "runtime":
        told = tell_runtime(speech, found, claim, verdict)
    else:
        told = tell_levels(speech, found, claim, verdict)
    statement = statement_of_run(speech, found.run, claim)
    if len(speech.session.runs) > 1:
        told = told._replace(wording=f"Run {found.run}: {told.wording}")
    first, last = claim.phase_from, claim.phase_to
    return (
        found.run, priority, THIS_SESSION, claim.code, found.devices[claim.a],
        found.devices[claim.b] if claim.b >= 0 else "", claim.group,
        found.phases[first] if first >= 0 else "", found.phases[last] if last >= 0 else "",
        claim.measurand, statement, verdict, *told,
    )  # fmt: skip


def _key(claim: Claim) -> tuple[object, ...]:
    """Return what a claim says, in whatever run."""
    return claim.code, claim.a, claim.phase_from, claim.phase_to, claim.group, claim.measurand


def _in_every_run(judged: Sequence[Ground]) -> set[tuple[object, ...]]:
    """Return the claims on who drained least that are supported in all of several runs."""
    supported = [
        {
            _key(item.claim)
            for item in ground.judged
            if item.claim.code in _LEAST and VERDICTS[item.verdict] == SUPPORTED
        }
        for ground in judged
    ]
    return set.intersection(*supported) if len(supported) > 1 else set()


def _run_rows(speech: Speech, ground: Ground, always: set[tuple[object, ...]]) -> list[Row]:
    """Return the rows of one run; of several, what is not true of all goes back."""
    later = int(is_replicated(speech.session))

    def priority(item: Judged) -> int:
        back = 0 if _key(item.claim) in always else later
        return min(item.priority + back, LEAST_URGENT)

    return [
        _run_row(speech, ground.found, item.claim, VERDICTS[item.verdict], priority(item))
        for item in ground.judged
    ]


def _mean_rows(
    speech: Speech,
    runtimes: pd.DataFrame,
    settings: Settings,
    *,
    pairs: pd.DataFrame | None = None,
) -> list[Row]:
    """Return the rows on mean runtimes over several runs; none where there is one run."""
    session = speech.session
    if not is_replicated(session):
        return []
    if pairs is None:
        lasted = runtime_quantity(session, runtimes)
        rows = list(pairs_of(lasted, session, settings.coverage))
        pairs = frame_of_rows("replicate_pairs", rows)
    return mean_rows(speech, pairs)


def _kind_rows(
    speech: Speech, runtimes: pd.DataFrame, obs: Observed, settings: Settings
) -> list[Row]:
    """Return the rows on kinds of device."""
    session = speech.session
    pairs = kind_pairs(session, runtimes, settings, obs=obs)
    order = list(dict.fromkeys(k.name for pair in pairs for k in (pair.a, pair.b)))
    near = {frozenset(two) for two in pairwise(order)}
    rows: list[Row] = []
    for place, pair in enumerate(pairs):
        verdict, told = tell_kinds(speech, pair)
        urgent = place == 0 or pair.comparisons == 1
        beside = frozenset((pair.a.name, pair.b.name)) in near
        priority = 1 if urgent else 2 if pair.supported or beside else LEAST_URGENT
        rows.append(
            (
                session.runs[0].number if len(session.runs) == 1 else 0,
                priority, KIND_OF_DEVICE, "lasts_longer",
                session.devices[pair.a.devices[0]].id, session.devices[pair.b.devices[0]].id,
                "", "", "", "runtime", kind_statement(speech, pair), verdict, *told,
            )
        )  # fmt: skip
    return rows


def claims(
    session: Session,
    settings: Settings,
    *,
    prepared: Prepared | None = None,
    runtimes: pd.DataFrame | None = None,
    pairs: pd.DataFrame | None = None,
    known: Sequence[Ground] | None = None,
) -> pd.DataFrame:
    """Return the sentences that people want to say, each with its verdict and a true wording.

    Parameters
    ----------
    session
        A record that passed its checks.
    settings
        ``coverage``: the probability that nothing false is called supported in a family.
    prepared
        From `kit.drain.phases.prepare`, if it was made already.
    runtimes
        Frame of `kit.runtime.runtimes`, if it was made already.
    pairs
        Frame of `kit.runtime.replicate_pairs`, for several runs, if it was made already.
    known
        From `kit.claims.judge.grounds`, if they were found already.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["claims"]``, most urgent first. ``kind`` keeps apart what happened in
        this session (these units, this day) and what may be said of the kind of device; ``run``
        0 = over all runs. ``lead`` with its bounds and ``needed`` are in ``unit_symbol``: for
        runtimes in a session hard bounds, for percentages the difference less and plus what is
        needed, else the coverage interval of the comparison that decides. ``method`` names the
        correction for many comparisons.

    Notes
    -----
    Families, each with its own ``1 − coverage``: all pairs and phases of displayed drain, of
    true-charge drain, of displayed drain by activity, and of standings by the display; all
    comparisons of the pair declared beforehand (`kit.drain.declared`); all other pairs of mean
    runtimes over several runs (`kit.runtime.replicate_pairs`), and of kinds. Runtimes of one run
    need none: what is claimed of them holds for every moment that the notes allow.
    """
    ready = prepare(session) if prepared is None else prepared
    lasted = (
        runtime_tables(session, offs=ready.chains.off_times)[0] if runtimes is None else runtimes
    )
    speech = Speech.of(session)
    rows = _mean_rows(speech, lasted, settings, pairs=pairs)
    judged = grounds(ready, settings) if known is None else known
    always = _in_every_run(judged)
    for ground in judged:
        rows += _run_rows(speech, ground, always)
    rows += _kind_rows(speech, lasted, ready.chains.observed, settings)
    return frame_of_rows("claims", sorted(rows, key=lambda row: int(str(row[1]))))
