"""The claims of one run with their verdicts, and how urgent each then is."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from kit.claims.candidates import candidates
from kit.claims.evidence import evidence
from kit.claims.verdicts import SUPPORTED, VERDICTS, Asked, verdicts
from kit.drain.phases import MEASURANDS

if TYPE_CHECKING:
    from kit.claims.evidence import Evidence
    from kit.claims.verdicts import Claim
    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Session

__all__ = ["LEAST_URGENT", "Ground", "Judged", "grounds", "judged"]

LEAST_URGENT = 3
"""Priority of a claim that only the full list shows."""

GAINED_PRIORITY = 2
"""Priority of a supported sentence on who gained on whom; of the others the least."""

TRUE_CHARGE = MEASURANDS[1]


class Judged(NamedTuple):
    """A claim, its verdict as a position in ``VERDICTS``, and its priority, 1 first."""

    claim: Claim
    verdict: int
    priority: int


def judged(session: Session, found: Evidence) -> tuple[Judged, ...]:
    """Return the claims of a run with verdict and priority.

    Parameters
    ----------
    session, found
        As for `kit.claims.candidates.candidates`.

    Returns
    -------
    tuple of Judged
        What adds nothing to the others goes back to the full list: a claim on charge that does not
        stand; and, but for the pair declared beforehand, a comparison of two drains that does not
        stand or follows from who drained least. Who gained on whom comes out of it where it stands.
    """
    claims = candidates(session, found)
    found_so = verdicts(Asked(claims), found.facts, found.open_pairs).tolist()
    asked = list(zip(claims, found_so, strict=True))
    supported = VERDICTS.index(SUPPORTED)
    known = {
        (claim.phase_from, claim.measurand)
        for claim, verdict in asked
        if claim.code == "drained_least" and verdict == supported
    }
    places = []
    for claim, verdict in asked:
        stands = verdict == supported
        follows = (claim.phase_from, claim.measurand) in known
        declared = found.declared is not None and found.declared.is_pair(claim.a, claim.b)
        back = (claim.measurand == TRUE_CHARGE and not stands) or (
            claim.code == "drained_less" and not declared and (follows or not stands)
        )
        # who gained on whom is asked of every neighbour: what stands is worth telling
        told = GAINED_PRIORITY if claim.code == "gained" and stands else claim.priority
        places.append(Judged(claim, verdict, LEAST_URGENT if back else told))
    return tuple(places)


class Ground(NamedTuple):
    """What one run lets be said, and the claims judged by it."""

    found: Evidence
    judged: tuple[Judged, ...]


def grounds(ready: Prepared, settings: Settings) -> tuple[Ground, ...]:
    """Return the ground of every run: what the claims and the load-bearing readings share.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    settings
        As for `kit.claims.evidence.evidence`.
    """
    found = [evidence(ready, run, settings) for run in range(len(ready.chains.runs))]
    return tuple(Ground(one, judged(ready.chains.session, one)) for one in found)
