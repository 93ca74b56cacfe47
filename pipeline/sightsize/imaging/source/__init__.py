"""Source pictures opened upright, of any kind."""
