"""Readings to boundary states to drains, with every source of uncertainty kept apart.

`kit.drain.phases.prepare` is the way in. What is where, in the order of the work:

* What was noted: ``readings`` and ``stop_readings`` (percentages), ``last_seen``, ``off_record``
  and ``off_times`` (power-offs), ``charged`` (who was charged in between), ``gauge`` (what a
  display is), ``ticks`` (its changes).
* Boundaries: ``boundary_readings`` and ``boundary_search`` (which reading stands for each),
  ``off_phases`` (in which phase units ended), ``chain_levels`` and ``chains``, ``states``,
  ``swaps`` (one more boundary in a crossover).
* Drains: ``model``, ``intervals``, ``flags``, ``phases``, ``total_drain``, ``power_drain`` (as a
  measure of energy).
* Parts of phases: ``segments``, ``crossover``, ``rotation``, ``part_rows``, ``split_phases``,
  ``dense_ticks``, ``within_phase``, ``gauge_shape``, ``reference_repeats``.
* What drains come to: ``projections``, ``rated_energy``, ``energy``, ``endurance_index``,
  ``mix_rates``, ``usage_mix``, ``mix_winners``.
* Devices beside each other: ``margins``, ``declared``, ``order``, ``places``, ``standing``.
* Where the uncertainty comes from: ``budget``, ``budget_lines``, ``shares``, ``tick_gain``,
  ``tick_runtimes``.
* The same by Monte Carlo: ``drawn`` (arrays of draws), ``draws`` (of one unit), ``mix_draws`` (its
  halves, turns and mixes), ``simulation`` (of all units), ``agreement`` with the closed form.
* If a number had been another one: ``misread`` and ``misread_search`` (a percentage), ``misnoted``
  (the time of a power-off).
"""
