"""Many sessions at once: find them, skip what is unchanged, make the rest, say how each ended.

::

    jobs        Job and Outcome: one session before and after
    find        paths → jobs
    unchanged   is the report that is there the one that would be made?
    worker      the process that makes reports one after the other, warm
    process     that process, seen from the one that started it
    make        one job by one such process: skip, make, try again → Outcome
    pool        jobs on this computer, several processes
    elsewhere   sessions behind an address: fetched, and the report put back
    cluster     jobs on a Dask scheduler
    summary     outcomes → table, JSON, exit status
"""
