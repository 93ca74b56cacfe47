"""Pixels: from a source file to the finished sheet. Read ``render`` first, which has the order.

source -> analysis -> colour.light -> retouch -> stages.level -> raster.resize -> stages.dodge ->
tone -> local_contrast -> sharpen -> grain -> colour.gamut -> colour.output -> stages.sheet.

Every stage takes and returns pyvips images and does no input or output of its own. The black-and-
white conversion has no module: it is a row of weights that ``colour.light`` mixes in.
"""
