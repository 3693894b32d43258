"""Runtimes and their order, runs that were repeated, and which elapsed time the drains fit."""
