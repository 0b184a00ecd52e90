"""Tests in a real browser: notebooks as people use them."""
