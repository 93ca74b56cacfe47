"""Tools for images that know nothing of photography.

Sizes: ``resize``, ``spread``. Values: ``table``, ``pixels``. Metadata: ``fields``.
"""
