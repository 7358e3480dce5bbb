"""Signals of a listening session: notes in a stream, room, hum, gain, second strings. Pure."""
