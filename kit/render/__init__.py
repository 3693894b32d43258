"""Executed notebook to HTML, PDF, JSON and CSV, put in place all together.

`kit.render.report.render_report` is the way in.
"""
