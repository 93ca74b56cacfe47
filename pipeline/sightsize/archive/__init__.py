"""Years later: audit, reprint, match."""
