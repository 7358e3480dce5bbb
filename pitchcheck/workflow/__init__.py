"""The stages joined: from a folder to a measurement. The command line calls only this."""

from pitchcheck.workflow.measure import measure_folder
from pitchcheck.workflow.new import new_folder
from pitchcheck.workflow.progress import Progress

__all__ = ["Progress", "measure_folder", "new_folder"]
