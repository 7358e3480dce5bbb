"""A memo: one recording of unnamed plucks, taken apart and each pluck given its place on the neck."""
