"""The screen of a listening session: what it shows, and how it is drawn on a terminal."""
