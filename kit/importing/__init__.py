"""From tables as spreadsheets and loggers keep them to a session folder.

Bytes → `open_file` → grids of cells → `layout` (what stands where) → `scorecard`, `long_list` or
`device_log` (texts as `kit.read` reads them) → `gather` → a `Session` → `write`. What a cell could
mean in two ways is told, never guessed; `mapping` is where a user decides.
"""
