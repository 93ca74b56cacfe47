"""Source pictures of any kind, opened upright. Read ``upright`` first.

``file`` opens what libvips reads; ``raw`` develops camera files, with colour from ``camera``.
"""
