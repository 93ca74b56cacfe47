"""Many prints made, each failing alone.

In order: ``planner`` makes ``planned`` prints, ``batch`` decides what is to be made, ``queue``
hands it out, ``worker`` makes one print; ``dask`` has workers on other machines.
"""
