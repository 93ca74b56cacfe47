"""The checks: pure rules, each with an id, a threshold and a sentence.

A check has a scope: the opening and the sheet need no picture, the others an opened picture or a
finished print. A rule yields at most a few findings. A refusal
stands unless the job accepts the check's id in ``checks.accept``; then it is shown as a note. With
``checks.strict`` every warning refuses. What cannot be printed at all, or is beyond the job's
limits, is refused whatever the job accepts.
"""
