"""What everything stands on: units, paper sizes, findings, files, locks, deadlines."""
