"""Years later: are the prints still what they were, and the same prints again.

``audit`` reads everything delivered, ``reprint`` makes prints again from their docket,
``from_master`` from their masters.
"""
