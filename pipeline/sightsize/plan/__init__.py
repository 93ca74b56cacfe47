"""Every number of a print before a pixel moves.

In order: ``arrange`` (``size``, ``layout``, ``file_names``) before a picture is opened; then
``picture`` (``crop``, ``places``, ``mark_shapes``). ``sheet`` has the types of sheets and files.
From a plan follow ``decode``, ``estimates`` and ``identity``.
"""
