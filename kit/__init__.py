"""Rundown Kit: side-by-side battery rundown sessions, from the log to a checked report.

Importing the package loads nothing heavy; each module is imported where it is used.
"""

__version__ = "0.1.0"
