"""Tells a session at the microphone as plain lines: each prompt, each verdict, each note, once.

For whatever is no terminal, and for ears: a screen reader can follow it.
"""

from __future__ import annotations

from collections.abc import Callable

from pitchcheck.guide.events import GuideView
from pitchcheck.guide.scene import Key, Scene
from pitchcheck.words.microphone import help_words, keys_words, progress_words, scene_words


class PlainScreen:
    """Writes a line whenever there is something new.

    Parameters
    ----------
    write : callable
        Takes one line.
    """

    def __init__(self, write: Callable[[str], None]) -> None:
        self._write = write
        self._keys: tuple[Key, ...] = ()
        self._said = self._counted = self._note = self._prompt = self._hint = ""
        self._taken = 0
        self._help = False

    def show(self, scene: Scene) -> None:
        """Write what is new in a scene."""
        view, words = scene.view, scene_words(scene)
        if scene.keys != self._keys:
            self._keys = scene.keys
            self._write(keys_words(scene.keys))
        if scene.help and not self._help:
            for line in help_words(scene.keys):
                self._write(line)
        self._help = scene.help
        self._tell_outcome(words.said, view)
        if words.notes != self._note:
            self._note = words.notes
            if words.notes:
                self._write(words.notes)
        if words.prompt != self._prompt:
            self._write(f"{words.prompt.rstrip('.')}. {words.hint}".strip())
        elif not self._hint.startswith(words.hint):  # the same prompt: only what is added to its hint
            self._write(words.hint.removeprefix(self._hint).strip())
        self._prompt, self._hint = words.prompt, words.hint

    def _tell_outcome(self, said: str, view: GuideView) -> None:
        """Write what became of the last note; of a take that was counted once, though it be shown again."""
        if view.taken != self._taken:
            if said:
                self._write(f"{said} ({progress_words(view)})")
            self._counted = said
        elif said not in ("", self._said, self._counted):
            self._write(said)
        self._said, self._taken = said, view.taken
