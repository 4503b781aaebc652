"""The manual: one page a topic, written in Markdown, and how a page reads on a terminal."""
