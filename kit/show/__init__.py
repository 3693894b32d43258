"""Results to tables, figures and sentences. Pure; `kit.report` is what notebook cells call."""
