"""``rundown watch``: a draft of the report anew with every save of the record.

::

    files       the files that make a record, and what is in them now
    settle      when what was saved is complete                                    pure
    kernel      one kernel that is used again and again
    watch       the loop: look, wait, make a draft, say so
    commands    ``rundown watch``
"""
