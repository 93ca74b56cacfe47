"""What each command does, once the command line is read; each returns its exit code."""
