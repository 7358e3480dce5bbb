"""The use cases of a kept job: a pass added, exported, compared, reported."""
