"""One photograph: its file, its pixels and their colours."""
