"""Run the command line, as ``sightsize`` or with ``python -m sightsize``."""

from sightsize import ending


def main() -> None:
    """Run the command line and end the process; Ctrl-C is minded while it loads, too."""
    ending.prepare()
    ending.leave(ending.run(_command_line))


def _command_line() -> int:
    from sightsize.cli import command_line

    return command_line()


if __name__ == "__main__":
    main()
