"""The pages, pressed from Python."""
