"""What a measurement or a count leaves behind: record, tables and pictures."""
