"""Several sessions compared: what changed, who is ahead of whom, and what cannot be compared.

::

    members ──▶ units (which device is which) ──▶ entries (unchanged, under like conditions)
       └──▶ cells (ln runtime of a device in a session) ──▶ network (generalised least squares)
                                         ├──▶ pairs, order, history of who led
                                         └──▶ changes of one device, phase by phase as well

``analysis.compare`` composes it. Formulas and sources: docs/comparing.md.
"""
