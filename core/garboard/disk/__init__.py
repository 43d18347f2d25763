"""Bytes that survive: durable writes, the journal of a hull, its entries, attachments."""

HULLS_FOLDER = "hulls"
"""In a folder of hull files, the folder they are in."""
