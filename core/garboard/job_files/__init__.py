"""One job as JSON."""
