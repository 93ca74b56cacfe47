"""Every number of a print before a pixel moves."""
