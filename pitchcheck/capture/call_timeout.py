"""Calls into the audio library that may never come back: each gets a thread of its own and a time.

A frozen sound server holds a call until it thaws. Such a call is left behind: the screen is given back, the
program may end without waiting for it, and until it returns the library is asked for nothing else, because
to close or list things under a call that is still in them would end the program.
"""

from __future__ import annotations

import atexit
import sys
from collections.abc import Callable
from threading import Event, Lock, Thread
from typing import TypeVar

from pitchcheck.capture import faults, stderr_guard

Made = TypeVar("Made")

_LEFT: list[Event] = []  # each is set when its call comes back


def is_any() -> bool:
    """Whether a call that was left behind is still out."""
    _LEFT[:] = [back for back in _LEFT if not back.is_set()]
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
    lock, back = Lock(), Event()  # an interrupted Thread.join takes a running thread for ended (Python 3.11)

    def run() -> None:
        try:
            result = work()
            with lock:
                if not late:
                    made.append(result)
                    return
            if discard is not None:
                discard(result)
        except BaseException as error:  # handed to the caller's thread
            failed.append(error)
        finally:
            back.set()

    try:
        Thread(target=run, name=f"asking the audio library about {name}", daemon=True).start()
        back.wait(limit_s)
    except BaseException:  # Ctrl-C
        _give_up(back, lock, late)
        if made and discard is not None:
            discard(made[0])
        raise
    if not back.is_set():
        _give_up(back, lock, late)
    if made:
        return made[0]
    raise failed[0] if failed else faults.stuck(name)


def _give_up(back: Event, lock: Lock, late: list[bool]) -> None:
    """Leave a call behind."""
    with lock:
        late.append(True)
    if back.is_set():
        return
    _LEFT.append(back)
    stderr_guard.restore()
    library = sys.modules.get("sounddevice")
    if library is not None:
        atexit.unregister(library._exit_handler)  # it would wait for the sound server at the program's end
