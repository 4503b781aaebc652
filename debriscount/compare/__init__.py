"""What many runs say together: figures in one table, means of groups, and differences between them."""
