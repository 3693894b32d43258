"""Correcting a record openly: what changed, what moved, and proof that the numbers follow.

::

    changes     CellChange: one cell or row that is different
    log_diff    two logs → changes                                        pure
    setup_diff  two setup files → changes                                 pure
    cell_edit   one cell of a CSV file replaced, every other byte kept    pure
    corrections corrections.csv: who changed what, when and why
    amend       ``rundown amend``
    archive     revisions kept beside a report, one folder each
    lock        one run at a time for each output folder
    compare     two sets of results → figures moved, statements changed   pure
    headline    does the conclusion change: one sentence                  pure
    notice      a paragraph for a public correction notice                pure
    history     earlier revisions → frames of the results
    page        those frames → tables and prose of the report             pure
    carried     the data that a report carries inside
    verify      ``rundown verify``: do the numbers follow from that data
    swap        several files replaced together, whatever interrupts it
    draft       a report of a record that is being edited
"""
