"""Print files sized to measured mat openings, from a job file.

A reader follows one print through the folders in this order: job, plan, checks, imaging, delivery,
docket. Run and archive make many prints and make them again, report says what became of them.
"""

__version__: str


def __getattr__(name: str) -> str:
    """The version, read when it is first asked for: reading it takes a third of a start-up."""
    if name != "__version__":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib.metadata import version

    globals()[name] = found = version("sightsize")
    return found
