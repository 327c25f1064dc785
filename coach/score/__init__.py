"""What is written: the score, its bars and beats, the window, counting and reading."""
