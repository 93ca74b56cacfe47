"""The checks: pure rules, each with an id, a threshold and a sentence. Read ``registry`` first.

The rules of each scope have a module: ``opening`` and ``sheet`` need no picture, ``picture`` and
``marks`` an opened one, ``finished`` a finished print; ``run`` runs them. A rule yields at most a
few findings. What the job accepts in ``checks.accept`` is of a level of its own, and reports name
it in one line. With ``checks.strict`` every other warning refuses. What cannot be printed at all,
or is beyond the job's limits, is refused whatever the job accepts.
"""
