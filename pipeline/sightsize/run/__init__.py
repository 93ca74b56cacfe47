"""Many prints made, each failing alone.

In order: ``planner`` makes each a ``planned_print``, ``batch`` decides what is to be made,
``queue`` hands it out, ``worker`` makes one print; ``dask`` has workers on other machines, and
``watch`` sees whether they live.
"""
