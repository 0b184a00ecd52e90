"""Cards planned, read on their way and steered."""
