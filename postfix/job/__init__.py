"""The job from end to end: every stage in its order, for one clip or many, for one screen or many."""
