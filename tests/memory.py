"""What a process takes at most that makes one print alone, and what was estimated for it."""

import json
import subprocess
import sys

from sightsize.model.job import Job
from sightsize.plan.arrange import arrange
from sightsize.plan.estimates import peak_bytes
from sightsize.run.planner import plan_prints

MIB = 2**20

PEAK_OF_ONE_PRINT = """
import json, sys
from pathlib import Path
from sightsize.plan.arrange import arrange
from sightsize.run.batch import make_prints
from sightsize.run.planner import plan_prints
from sightsize.checks.run import check_ids
from sightsize.job.load import load_job

job = load_job(Path(sys.argv[1]), check_ids())
job.output.mkdir()
(outcome,) = make_prints(job, plan_prints(job, arrange(job)), replace=False, workers=1)
# Unlike ru_maxrss, this is not handed down by the process that started us.
(peak,) = [line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")]
print(json.dumps([outcome.status, outcome.message, int(peak) * 1024]))
"""


def measure(planned: Job) -> tuple[int, int]:
    """Make the only print of a job in a process of its own; return its peak and the estimate."""
    (only,) = plan_prints(planned, arrange(planned))
    assert only.plan is not None, only.findings
    command = [sys.executable, "-c", PEAK_OF_ONE_PRINT, str(planned.path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    status, message, peak = json.loads(done.stdout)
    assert status == "made", message
    return peak, peak_bytes(only.plan)
