"""Years later: are the prints still what they were, and the same prints again.

``audit`` reads everything delivered, ``left_behind`` is what a docket has and its job no longer
does. ``reprint`` makes prints again from their docket, ``from_master`` from their masters.
"""
