"""What to do next: evidence, diagnosis, the ladder and the drill."""
