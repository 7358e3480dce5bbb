"""The string: what it is made of, the way it takes over its contacts, and what that does to its pitch."""
