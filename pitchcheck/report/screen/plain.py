"""Tells a session at the microphone as plain lines: each prompt, each verdict, each note, once.

For whatever is no terminal, and for ears: a screen reader can follow it.
"""

from __future__ import annotations

from collections.abc import Callable

from pitchcheck.report.screen.view import Scene, keys_words, progress_words


class PlainScreen:
    """Writes a line whenever there is something new.

    Parameters
    ----------
    write : callable
        Takes one line.
    """

    def __init__(self, write: Callable[[str], None]) -> None:
        self._write = write
        self._keys: tuple[tuple[str, str], ...] = ()
        self._said = self._note = self._prompt = self._hint = ""
        self._taken = 0

    def show(self, scene: Scene) -> None:
        """Write what is new in a scene."""
        view = scene.view
        if scene.keys != self._keys:
            self._keys = scene.keys
            self._write(keys_words(scene.keys))
        if view.said != self._said or view.taken != self._taken:
            counted = f" ({progress_words(view)})" if view.taken != self._taken else ""
            self._said, self._taken = view.said, view.taken
            if view.said:
                self._write(f"{view.said}{counted}")
        if scene.note != self._note:
            self._note = scene.note
            if scene.note:
                self._write(scene.note)
        if view.prompt != self._prompt:
            self._write(f"{view.prompt.rstrip('.')}. {view.hint}".strip())
        elif not self._hint.startswith(view.hint):  # the same prompt: only what is added to its hint
            self._write(view.hint.removeprefix(self._hint).strip())
        self._prompt, self._hint = view.prompt, view.hint
