"""A print written, read again, verified and put under its name."""
