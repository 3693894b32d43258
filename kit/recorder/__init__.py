"""Recording a session on the day: a journal that survives, and three ways to write in it.

::

    keys ──▶ entries ──▶ recorder ──▶ journal.jsonl (every entry, on disk before it counts)
               ▲            │  └────▶ log.csv (made anew from the journal each time)
               └── state ◀──┘
                             ▲
           plain, app, notebook: what the operator sees and types

``keys``, ``rows``, ``state`` and ``entries`` are pure: the moment comes in as an argument.
"""
