"""What the Tern Quay pictures are drawn with, and the six scenes."""
