"""The subject's print with one stage more, or with all of them: what each stage costs.

A stage is measured as ``subject_stages:NAME``.
"""

from pathlib import Path

import tomli_w
from spec import Spec
from stages import ALL, STAGES
from subject_sightsize import job_values, made_print


def make_print(source: Path, target: Path, spec: Spec, step: str) -> None:
    """Make the spec's print with a stage, or all of them."""
    names = STAGES if step == ALL else [step]
    values = job_values(source, spec)
    picture = {"source": str(source.resolve())}
    for name in names:
        for table, keys in STAGES[name].items():
            if table == "picture":
                picture |= keys
            else:
                values[table] = {**values.get(table, {}), **keys}
    values["pictures"] = {"bench": picture}
    values["prints"] = [{"picture": "bench"}]
    made_print(tomli_w.dumps(values), target)
