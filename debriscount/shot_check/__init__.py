"""Whether a shot will do: what decides about its figures, each with a limit that follows from the accuracy wanted."""
