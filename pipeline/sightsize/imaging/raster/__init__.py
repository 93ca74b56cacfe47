"""Pixels as arrays, tables and maps."""
