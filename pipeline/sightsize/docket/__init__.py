"""What a run leaves beside its prints, and how it is recalled."""
