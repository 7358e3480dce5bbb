"""Calls into the audio library that may never come back: each gets a thread of its own and a time.

A frozen sound server holds a call until it thaws. Such a call is left behind: the screen is given back, the
program may end without waiting for it, and until it returns the library is asked for nothing else, because
to close or list things under a call that is still in them would end the program.
"""

from __future__ import annotations

import atexit
import sys
from collections.abc import Callable
from threading import Lock, Thread
from typing import TypeVar

from pitchcheck.capture import chatter, faults

Made = TypeVar("Made")

_LEFT: list[Thread] = []


def is_any() -> bool:
    """Whether a call that was left behind is still out."""
    _LEFT[:] = [thread for thread in _LEFT if thread.is_alive()]
    return bool(_LEFT)


def call(
    work: Callable[[], Made], *, limit_s: float, name: str, discard: Callable[[Made], None] | None = None
) -> Made:
    """Return what ``work`` makes, or raise what it raises.

    Parameters
    ----------
    work : callable
    limit_s : float > 0
        How long to wait. [s]
    name : str
        The input, for the message.
    discard : callable, optional
        Given what was made too late, or while the user broke off.

    Raises
    ------
    CaptureFault
        If it does not come back in time.
    """
    made: list[Made] = []
    failed: list[BaseException] = []
    late: list[bool] = []
    lock = Lock()

    def run() -> None:
        try:
            result = work()
        except BaseException as error:  # handed to the caller's thread
            failed.append(error)
            return
        with lock:
            if not late:
                made.append(result)
                return
        if discard is not None:
            discard(result)

    thread = Thread(target=run, name=f"asking the audio library about {name}", daemon=True)
    thread.start()
    try:
        thread.join(limit_s)
    except BaseException:  # Ctrl-C
        _give_up(thread, lock, late)
        if made and discard is not None:
            discard(made[0])
        raise
    if not made and not failed:
        _give_up(thread, lock, late)
    if failed:
        raise failed[0]
    if not made:
        raise faults.stuck(name)
    return made[0]


def _give_up(thread: Thread, lock: Lock, late: list[bool]) -> None:
    """Leave a call behind."""
    with lock:
        late.append(True)
    if not thread.is_alive():
        return
    _LEFT.append(thread)
    chatter.loud()
    library = sys.modules.get("sounddevice")
    if library is not None:
        atexit.unregister(library._exit_handler)  # it would wait for the sound server at the program's end
