"""Arithmetic of the darkroom, without a picture; each module can be read by itself.

``tone``, ``zones``, ``toning``, ``sharpening``, ``white_balance``.
"""
