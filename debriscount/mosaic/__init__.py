"""Photos of one shot that overlap, joined into one photo that looks straight down on the whole patch."""
