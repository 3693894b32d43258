"""The run sheet's sections, made from a plan; `kit.run_sheet` is what notebook cells call."""
