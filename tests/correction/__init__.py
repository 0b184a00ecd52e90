"""What test panels teach of law and day, and what is advised after them."""
