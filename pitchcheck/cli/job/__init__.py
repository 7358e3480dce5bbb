"""``pitchcheck job`` and its subcommands."""
