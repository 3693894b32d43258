"""The claims table of a session: of every run, over the runs, and of the kinds of device."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from kit.claims.judge import LEAST_URGENT, grounds
from kit.claims.kind_words import kind_statement, tell_kinds
from kit.claims.kinds_compared import kind_pairs
from kit.claims.level_claims import tell_levels, weakest_pairs
from kit.claims.mean_claims import mean_rows
from kit.claims.runtime_claims import tell_runtime
from kit.claims.verdicts import CANNOT, SUPPORTED, VERDICTS
from kit.claims.words import Speech
from kit.drain.phases import prepare
from kit.frames import frame_of_rows
from kit.results import RESULT_COLUMNS
from kit.runtime.replicate_pairs import pairs_of
from kit.runtime.replicates import is_replicated, runtime_quantity
from kit.runtime.runtimes import runtime_tables

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from kit.claims.evidence import Evidence
    from kit.claims.judge import Ground
    from kit.claims.kinds_compared import KindPair
    from kit.claims.runtime_claims import Told
    from kit.claims.verdicts import Claim
    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Session

__all__ = ["claim_verdicts", "claims", "statement_of_run"]

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
    statement = speech.statement(claim, run)
    return f"{statement} (run {run})" if len(speech.session.runs) > 1 else statement


def _asked(found: Evidence, claim: Claim) -> tuple[str, ...]:
    """Return what is asked, in the columns from ``code`` to ``measurand``."""
    first, last = claim.phase_from, claim.phase_to
    return (
        claim.code, found.devices[claim.a], found.devices[claim.b] if claim.b >= 0 else "",
        claim.group, found.phases[first] if first >= 0 else "",
        found.phases[last] if last >= 0 else "", claim.measurand,
    )  # fmt: skip


def _run_rows(speech: Speech, ground: Ground, priorities: Sequence[int]) -> list[Row]:
    """Return the rows of one run."""
    on_levels = [item.claim for item in ground.judged if item.claim.measurand != "runtime"]
    weakest = iter(weakest_pairs(ground.found, on_levels))
    rows = []
    for item, priority in zip(ground.judged, priorities, strict=True):
        claim, verdict = item.claim, VERDICTS[item.verdict]
        if claim.measurand == "runtime":
            told = tell_runtime(speech, ground.found, claim, verdict)
        else:
            told = tell_levels(speech, ground.found, claim, verdict, weakest=next(weakest))
        rows.append(_run_row(speech, ground.found, claim, verdict, priority, told))
    return rows


def _run_row(
    speech: Speech, found: Evidence, claim: Claim, verdict: str, priority: int, told: Told
) -> Row:
    statement = statement_of_run(speech, found.run, claim)
    if verdict != CANNOT:
        told = told._replace(wording=told.wording + speech.apart(claim, found.run))
    if len(speech.session.runs) > 1:
        told = told._replace(wording=f"Run {found.run}: {told.wording}")
    asked = _asked(found, claim)
    return (found.run, priority, THIS_SESSION, *asked, statement, verdict, *told)


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


def _priorities(session: Session, judged: Sequence[Ground]) -> list[list[int]]:
    """Return the priority of every claim; of several runs, what is not true of all goes back."""
    if not is_replicated(session):
        return [[item.priority for item in ground.judged] for ground in judged]
    always = _in_every_run(judged)
    return [
        [
            item.priority if _key(item.claim) in always else min(item.priority + 1, LEAST_URGENT)
            for item in ground.judged
        ]
        for ground in judged
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


def _kind_heads(session: Session, pairs: Sequence[KindPair]) -> list[Row]:
    """Return the columns up to ``measurand`` of every pair of kinds."""
    order = list(dict.fromkeys(k.name for pair in pairs for k in (pair.a, pair.b)))
    near = {frozenset(two) for two in pairwise(order)}
    run = session.runs[0].number if len(session.runs) == 1 else 0
    rows: list[Row] = []
    for place, pair in enumerate(pairs):
        urgent = place == 0 or pair.comparisons == 1
        beside = frozenset((pair.a.name, pair.b.name)) in near
        priority = 1 if urgent else 2 if pair.supported or beside else LEAST_URGENT
        ids = (session.devices[kind.devices[0]].id for kind in (pair.a, pair.b))
        rows.append((run, priority, KIND_OF_DEVICE, "lasts_longer", *ids, "", "", "", "runtime"))
    return rows


def claim_verdicts(
    session: Session,
    settings: Settings,
    *,
    prepared: Prepared | None = None,
    runtimes: pd.DataFrame | None = None,
    known: Sequence[Ground] | None = None,
) -> pd.DataFrame:
    """Return the verdict on everything that `claims` tells, without figures and sentences.

    Parameters
    ----------
    session, settings, prepared, runtimes, known
        As for `claims`.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["verdicts"]``, the rows in the order of `claims`. For whoever counts
        verdicts over many sessions: putting the sentences into words takes as long again.

    Examples
    --------
    b is off 46 min after a at least:

    >>> from kit.results import Settings
    >>> from tests.helpers.builders import make_session, seen
    >>> s = make_session(devices=["a", "b"], phases={"p1": 900}, start=None,
    ...     power_offs={"a": seen(300, 303), "b": seen(350, 352)})
    >>> found = claim_verdicts(s, Settings())
    >>> found[["code", "device_a", "device_b", "verdict"]].values.tolist()[0]
    ['longest', 'b', '', 'supported']
    """
    ready = prepare(session) if prepared is None else prepared
    lasted = (
        runtime_tables(session, offs=ready.chains.off_times)[0] if runtimes is None else runtimes
    )
    rows: list[Row] = []
    if is_replicated(session):
        place = RESULT_COLUMNS["claims"].index("statement")
        told = _mean_rows(Speech.of(session), lasted, settings)
        rows += [(*row[:place], row[place + 1]) for row in told]
    judged = grounds(ready, settings) if known is None else known
    for ground, priorities in zip(judged, _priorities(session, judged), strict=True):
        found = ground.found
        rows += [
            (found.run, priority, THIS_SESSION, *_asked(found, item.claim), VERDICTS[item.verdict])
            for item, priority in zip(ground.judged, priorities, strict=True)
        ]
    pairs = kind_pairs(session, lasted, settings, obs=ready.chains.observed)
    heads = _kind_heads(session, pairs)
    rows += [(*head, pair.verdict) for head, pair in zip(heads, pairs, strict=True)]
    return frame_of_rows("verdicts", sorted(rows, key=_urgency))


def _urgency(row: Sequence[object]) -> int:
    return int(str(row[1]))


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
    for ground, priorities in zip(judged, _priorities(session, judged), strict=True):
        rows += _run_rows(speech, ground, priorities)
    compared = kind_pairs(session, lasted, settings, obs=ready.chains.observed)
    for head, pair in zip(_kind_heads(session, compared), compared, strict=True):
        verdict, told = tell_kinds(speech, pair)
        rows.append((*head, kind_statement(speech, pair), verdict, *told))
    return frame_of_rows("claims", sorted(rows, key=_urgency))
