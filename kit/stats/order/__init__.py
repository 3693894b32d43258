"""Order with ties: who came before whom, as far as intervals or tested pairs can say.

Two layers, both free of devices and units:

* intervals → what is sure: `least_lead`, `surely_above`, `pair_verdict` (``bounds``); and how
  probable the rest is, if ends are independent: `p_longer` for each pair and `p_longest` against
  all (``chances``);
* a matrix ``above`` of claimed pairs → `rank_intervals` (``ranks``) and `tie_letters`
  (``letters``). Whatever decides the pairs (power-off windows, a drain margin, a
  Tukey interval) can use this layer.

A tie is never broken by decimals, midpoints or the order of entry.
"""

from kit.stats.order.bounds import least_lead, pair_verdict, surely_above
from kit.stats.order.chances import TAIL_MIN, p_longer, p_longest
from kit.stats.order.letters import tie_letters
from kit.stats.order.ranks import rank_intervals

__all__ = [
    "TAIL_MIN",
    "least_lead",
    "p_longer",
    "p_longest",
    "pair_verdict",
    "rank_intervals",
    "surely_above",
    "tie_letters",
]
