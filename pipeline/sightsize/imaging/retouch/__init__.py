"""Marks cleared."""
