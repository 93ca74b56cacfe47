"""Arithmetic of tone, zones, toning, sharpening and colour temperature: no pictures."""
