"""Colour: to linear light, and from it to the output."""
