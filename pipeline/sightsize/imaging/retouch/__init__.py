"""Marks cleared with clean picture from nearby. Read ``spotting`` first.

It looks for a ``donor``, fits it with a ``membrane``, and makes ``patches`` of it.
"""
