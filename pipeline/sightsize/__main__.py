"""Run the command line, as ``sightsize`` or with ``python -m sightsize``."""

import _signal  # type: ignore[import-not-found]  # the part of signal that is there at once


def main() -> None:
    """Run the command line and end the process; Ctrl-C is minded while it loads, too."""
    if _signal.getsignal(_signal.SIGINT) is _signal.default_int_handler:
        # Until ours is there: nothing is begun yet that could break.
        _signal.signal(_signal.SIGINT, _signal.SIG_DFL)
    from sightsize import ending

    ending.prepare()
    ending.leave(ending.run(_command_line))


def _command_line() -> int:
    from sightsize.cli import command_line

    return command_line()


if __name__ == "__main__":
    main()
