"""Moving, filling and windowing the planes of both eyes."""
