"""The tablet's side of coming ashore."""
