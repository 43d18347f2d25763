"""The sample day."""
