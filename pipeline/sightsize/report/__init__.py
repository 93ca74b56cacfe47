"""What is said to people and to programs.

To people: ``dry_run`` (with ``look``), ``text``, ``progress``, ``explain``. To programs: ``data``
(JSON), ``junit``.
"""
