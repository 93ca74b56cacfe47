"""From a job file to print files that drop into frames the client already owns.

A reader follows one print through the modules in this order:
document -> validate -> job -> plan -> checks -> picture/ -> deliver, run by batch and cli.
"""

__version__: str


def __getattr__(name: str) -> str:
    """The version, read when it is first asked for: reading it takes a third of a start-up."""
    if name != "__version__":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib.metadata import version

    globals()[name] = found = version("sightsize")
    return found
