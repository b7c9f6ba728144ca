"""What an audience will see of the edit: depth over time and at cuts, size in front, seats, the camera behind it."""
