"""Say what a key means: its unit, range and default, from the schema."""

import typer

from sightsize.report.explain import explain_text


def run(key: str | None) -> int:
    """Explain a key, a table or a check; list all without one. Raises UnknownKeyError."""
    typer.echo(explain_text(key))
    return 0
