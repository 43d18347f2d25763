"""From entries to what stands, and back: the state of a hull, authoring, one boat under several numbers, merge."""
