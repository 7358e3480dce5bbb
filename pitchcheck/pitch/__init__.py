"""Pitch of a pluck: from sound to readings with their uncertainty. Pure."""
