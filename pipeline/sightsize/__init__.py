"""Print files sized to measured mat openings, from a job file.

Follow one print through the folders in this order: ``job``, ``plan``, ``checks``, ``imaging``,
``delivery``, ``docket``. ``run`` makes many prints and ``archive`` makes them again; ``report``
says what became of them. ``cli`` and ``commands`` begin it all; ``base``, ``model`` and ``numbers``
are what the others share.
"""

__version__: str


def __getattr__(name: str) -> str:
    """The version, read when it is first asked for: reading it takes a third of a start-up."""
    if name != "__version__":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib.metadata import version

    globals()[name] = found = version("sightsize")
    return found
