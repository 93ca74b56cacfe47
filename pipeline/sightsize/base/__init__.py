"""What every other folder stands on; each module can be read by itself.

Numbers and texts: ``units``, ``paper_sizes``, ``paths``, ``words``, ``plain_text``, ``findings``.
The schema: ``schemas``. Files: ``atomic``, ``reading``, ``hashes``, ``lock``, ``icc``,
``tiff_words``. The machine: ``machine_memory``, ``deadline``, ``alarm``. Whoever runs it:
``terminal``, ``interrupts``.
"""
