"""What is taken to the bench: files in formats that other programs read."""
