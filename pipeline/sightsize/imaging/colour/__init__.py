"""Colour on its way in (``light``, ``profile_curves``) and out (``gamut``, ``output``).

``master_colour`` is the colour space of masters.
"""
