"""Colour on its way in (``light``, ``profile_curves``) and out (``gamut``, ``output``).

``wide`` is the colour space of masters.
"""
