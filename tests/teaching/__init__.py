"""What an archive can teach, and what it holds."""
