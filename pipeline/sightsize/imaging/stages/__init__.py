"""The stages of a print, image to image.

In the order of a print: ``level``, ``dodge``, ``tone``, ``local_contrast``, ``sharpen``, ``grain``,
``sheet``.
"""
