"""What stays along walls and in corners."""
