"""What a builder takes to the bench: drawings and written findings."""
