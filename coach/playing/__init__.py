"""What is played: notes, takes, ports, and the simulated pianist."""
