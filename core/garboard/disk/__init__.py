"""Bytes that survive: durable writes, the journal of a hull, its entries, attachments."""
