"""From a job file to a ``Job``: read, checked, merged and built. Read ``load`` first.

In order: ``toml_file``, ``validate`` (with ``values`` and ``messages``), ``table_rules``,
``cascade``, ``print_rules``, ``picture_files``, ``ladder``, ``build``, ``face_marks``. ``starter``
writes a first job.
"""
