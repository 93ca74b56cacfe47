"""What a run leaves beside its prints: enough to make each of them again.

Read ``store`` first, then ``docket_file`` and ``hidden_file`` (the two files), ``shape`` (what may
stand in them), ``record`` (what is kept of a print), ``recall`` (is it still the same?) and
``versions`` (records of earlier versions).
"""
