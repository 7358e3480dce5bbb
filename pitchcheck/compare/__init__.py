"""Two passes over one instrument, held against one another: what changed, and how sure that is."""

from pitchcheck.compare.comparison import compare_measurements as compare_measurements
from pitchcheck.compare.records import Change as Change
from pitchcheck.compare.records import Comparison as Comparison
from pitchcheck.compare.records import Match as Match
