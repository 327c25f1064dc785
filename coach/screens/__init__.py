"""What is seen: the Textual screens."""
