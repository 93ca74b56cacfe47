"""From a job file to print files that drop into frames the client already owns.

A reader follows one print through the modules in this order:
document -> grammar -> job -> plan -> checks -> picture/ -> deliver, run by batch and cli.
"""

from importlib.metadata import version

__version__ = version("sightsize")
