"""The input tried from the page: the room, then a few plucks, and what is wrong in words."""

from __future__ import annotations

from threading import Lock, Thread

from pitchcheck.bench.hub import Hub
from pitchcheck.bench.page_words import on_page
from pitchcheck.bench.runner import ChosenInput
from pitchcheck.errors import PitchcheckError


class InputTry:
    """Tries one input at a time, in a thread of its own; tells the hub what to do and what was found."""

    def __init__(self, hub: Hub) -> None:
        self._hub = hub
        self._lock = Lock()
        self._thread: Thread | None = None

    def begin(self, chosen: ChosenInput) -> bool:
        """Begin; False while another one is under way."""
        with self._lock:
            if self._thread is not None and self._thread.is_alive():
                return False
            self._thread = Thread(target=self._run, args=(chosen,), name="trying the input", daemon=True)
            self._thread.start()
        return True

    def _run(self, chosen: ChosenInput) -> None:
        from pitchcheck.words.inputs import input_sentences
        from pitchcheck.workflow.inputs import try_input

        told: list[str] = []

        def say(words: str) -> None:
            told.append(words)
            self._hub.publish(input={"said": list(told), "done": False, "fit": None})

        try:
            found = try_input(chosen.device, channel=chosen.channel, say=say)
            told += input_sentences(found)
            fit = found.go_on
        except PitchcheckError as error:
            told.append(on_page(str(error)))
            fit = False
        self._hub.publish(input={"said": told, "done": True, "fit": fit})
