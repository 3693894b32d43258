"""One page over many sessions: what each of them found, to search, sort and open.

`kit.index.write.write_index` is the entry. The page is made from the ``results.json`` of the
reports alone; nothing is computed anew.
"""
