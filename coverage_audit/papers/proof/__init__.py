"""The coverage proof: record, keys, page, PDF and their check."""
