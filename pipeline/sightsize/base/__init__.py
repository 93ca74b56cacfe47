"""What every other folder stands on; each module can be read by itself.

Numbers and texts: ``units``, ``paper_sizes``, ``paths``, ``words``, ``findings``. The schema:
``schemas``. Files: ``atomic``, ``hashes``, ``lock``, ``icc``, ``tiff_words``. The machine:
``machine_memory``, ``deadline``.
"""
