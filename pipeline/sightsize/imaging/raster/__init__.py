"""Tools for images that know nothing of photography.

Sizes: ``resize``, ``spread``. Values: ``lookup_tables``, ``pixels``. Metadata: ``header_fields``.
"""
