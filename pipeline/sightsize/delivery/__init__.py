"""A print written beside its target, read again, verified, and only then given its name.

Read ``deliver`` first. ``encode`` writes the file, with ``metadata``, ``captions`` and
``xmp_words``; ``verify`` holds it against its plan; ``delivered`` is what came of it.
"""
