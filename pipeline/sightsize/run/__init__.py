"""Many prints: planned, handed out, made."""
