"""The stages a picture passes on its way to the sheet, one module each, in this order:

upright -> study -> light -> patches -> level -> resize -> dodge -> tone -> contrast -> sharpen ->
grain -> gamut -> finish -> sheet, strung together in chain.

Every stage takes and returns pyvips images and does no input or output of its own. The black-and-
white conversion has no module: it is a row of weights that ``light`` mixes while it linearises.
"""
