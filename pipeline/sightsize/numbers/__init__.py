"""Arithmetic of the darkroom, without a picture; each module can be read by itself.

``tones``, ``zones``, ``toning``, ``sharpening``, ``white_balance``.
"""
