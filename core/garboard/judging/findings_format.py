"""The name and version of findings as JSON: apart, so that judging a folder can pass over what the report wrote."""

FORMAT = "garboard findings"
VERSION = 1
