"""From a job, wherever it is kept, to its findings."""
