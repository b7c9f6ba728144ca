"""What will be done to each shot for one screen, and why."""
