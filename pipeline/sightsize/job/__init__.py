"""From a job file to a job: read, validate, merge, check, build."""
