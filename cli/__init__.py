"""The command line of debriscount: it parses, calls the library and prints."""
