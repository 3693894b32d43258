"""From files to a ``Session``: dialect, schema, times, log, scorecard, setup file.

`kit.read.record.read_record` is the way in.
"""
