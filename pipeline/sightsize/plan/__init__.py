"""Every number of a print before a pixel moves.

In order: ``arrange`` (``size``, ``sheet``, ``file_names``) before a picture is opened; then
``picture`` (``crop``, ``overlays``, ``mark_shapes``). ``file`` has the types of sheets and files.
From a plan follow ``decode``, ``estimates`` and ``identity``.
"""
