"""What each command does once ``cli`` has read the command line; each returns its exit code.

Read ``make`` first; what several commands need is in ``shared``.
"""
