"""Source pictures of any kind, opened upright. Read ``open_upright`` first.

``picture_file`` opens what libvips reads; ``raw`` develops camera files, with colour from
``camera``.
"""
