"""What is looked for in a picture before it is printed."""
