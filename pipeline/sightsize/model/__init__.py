"""A job as frozen objects, headers of pictures, and plain shapes."""
