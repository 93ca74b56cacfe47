"""What a run leaves beside its prints: enough to make each of them again.

Read ``store`` first, then ``record`` (what is kept of a print), ``recall`` (is it still the same?)
and ``versions`` (dockets of earlier versions).
"""
