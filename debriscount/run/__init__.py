"""The conductor: from photos, through all stages, to the record of a run or of a single photo."""
