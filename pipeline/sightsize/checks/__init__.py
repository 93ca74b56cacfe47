"""The checks: pure rules, each with an id, a threshold and a sentence. Read ``registry`` first.

The rules of each scope have a module: ``opening`` and ``sheet`` need no picture, ``picture`` and
``marks`` an opened one, ``finished`` a finished print; ``run`` runs them. A rule yields at most a
few findings. A refusal stands unless the job accepts the check's id in ``checks.accept``; then it
is shown as a note. With ``checks.strict`` every warning refuses. What cannot be printed at all, or
is beyond the job's limits, is refused whatever the job accepts.
"""
