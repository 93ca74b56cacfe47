"""What is said to people and to programs."""
