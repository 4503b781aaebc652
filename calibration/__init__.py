"""Debris files that ship with debriscount, installed as ``debriscount._calibration``."""
