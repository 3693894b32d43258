"""Readings to boundary states to drains, with every source of uncertainty kept apart.

`kit.drain.phases.prepare` is the way in.
"""
