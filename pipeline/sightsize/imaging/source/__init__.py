"""Source pictures of any kind, opened upright. Read ``open_upright`` first.

``image_file`` opens every file that libvips reads, ``picture_file`` those that are sources; ``raw``
develops camera files, with colour from ``camera``.
"""
