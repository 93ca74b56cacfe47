"""Plain frozen objects that every folder shares: no rules, no files, no pixels.

A ``job`` has ``settings`` and facts of each ``picture``; ``header`` is what a file says of itself;
``geometry`` has sizes and boxes.
"""
