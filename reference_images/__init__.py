"""Rendered test runs with their truth, installed as ``debriscount._reference``."""
