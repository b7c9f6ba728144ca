"""Finished files: written beside, reopened, checked, renamed and logged."""
