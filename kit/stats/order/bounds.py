"""What the bounds of ends alone decide: who surely came after whom, and by how much at least."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["least_lead", "pair_verdict", "surely_above"]

PairVerdict = Literal["a", "b", "too_close", "both_still_on", "unknown"]


def least_lead(low: ArrayLike, high: ArrayLike) -> Floats:
    """Return by how much each end came at least after each other one.

    Parameters
    ----------
    low, high
        Shape (n,). Bounds of each end time (min, any common origin); ``high = inf``: not seen
        off; NaN: nothing known.

    Returns
    -------
    ndarray, shape (n, n)
        ``lead[i, j] = low[i] − high[j]`` (min): T_i − T_j is no less. −inf where j was not seen
        off, NaN where either is unknown. T_i − T_j is no more than ``−lead[j, i]``.

    Raises
    ------
    ValueError
        For arrays that are not one-dimensional and alike.

    Examples
    --------
    >>> least_lead([843, 840], [847, 844]).tolist()
    [[-4.0, -1.0], [-7.0, -4.0]]
    """
    lo = np.asarray(low, dtype=np.float64)
    hi = np.asarray(high, dtype=np.float64)
    if lo.ndim != 1 or lo.shape != hi.shape:
        msg = f"low and high must be one-dimensional and alike, got {lo.shape} and {hi.shape}"
        raise ValueError(msg)
    return np.asarray(lo[:, None] - hi[None, :], dtype=np.float64)


def surely_above(lead: ArrayLike) -> Flags:
    """Return which pairs the bounds decide: ``above[i, j]`` iff i cannot have ended before j.

    Parameters
    ----------
    lead
        Shape (…, n, n), from :func:`least_lead`.

    Returns
    -------
    ndarray, shape (…, n, n)
        ``above[i, j]``: ``lead[i, j] >= 0``. True of every end time within the bounds, so it
        needs no probability, no assumption on how ends spread over their windows, and no
        allowance for the number of pairs.

    Notes
    -----
    Where two windows share a moment, both may have ended in it: a claim would be false of
    devices that are equal, however small the share is beside the windows. It is not rare
    either. Devices of one row are looked at on the same walk; when several go off during one,
    those passed before are noted on and those passed after noted off, in the same minute.
    Derived in docs/runtimes.md.

    Examples
    --------
    [843, 847) is after [840, 843); [840, 844) shares a minute with it.

    >>> surely_above(least_lead([843, 840, 840], [847, 843, 844])).astype(int).tolist()
    [[0, 1, 0], [0, 0, 0], [0, 0, 0]]
    """
    with np.errstate(invalid="ignore"):
        above: Flags = np.asarray(lead, dtype=np.float64) >= 0.0
    return above & ~np.eye(above.shape[-1], dtype=bool)


def pair_verdict(
    p: float, status_a: str, status_b: str, *, ahead: bool, behind: bool, comparable: bool = True
) -> PairVerdict:
    """Return the verdict on one pair of runtimes.

    Parameters
    ----------
    p
        P(A ran longer than B); NaN = unknown. How large it is decides nothing.
    status_a, status_b
        ``observed``, ``still_on`` or ``not_recorded``.
    ahead, behind
        Whether A is claimed to have run longer than B, or B than A.
    comparable
        ``False`` when one device was last seen on before the other's window began, so that
        closeness is not what keeps the pair open.

    Examples
    --------
    >>> pair_verdict(1.0, "observed", "observed", ahead=True, behind=False)
    'a'
    >>> pair_verdict(0.995, "observed", "observed", ahead=False, behind=False)
    'too_close'
    >>> pair_verdict(0.5, "still_on", "still_on", ahead=False, behind=False)
    'both_still_on'
    """
    if p != p:
        return "unknown"
    if ahead:
        return "a"
    if behind:
        return "b"
    if status_a == status_b == "still_on":
        return "both_still_on"
    if "not_recorded" in (status_a, status_b) or not comparable:
        return "unknown"
    return "too_close"
