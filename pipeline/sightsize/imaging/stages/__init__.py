"""The stages of a print, image to image."""
