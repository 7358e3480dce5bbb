"""System parts that some tests need: skipped with the reason on a user's machine, a failure in CI.

Call ``needs("chromium")`` at the top of a test or fixture. It returns where the part is, or ends the test.
"""

from __future__ import annotations

import importlib
import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest


@dataclass(frozen=True)
class Part:
    """How to find a system part, and the Debian package that brings it."""

    find: Callable[[], str | None]
    package: str


def _program(*names: str) -> Callable[[], str | None]:
    return lambda: next((found for name in names if (found := shutil.which(name))), None)


def _portaudio() -> str | None:
    try:
        sounddevice = importlib.import_module("sounddevice")
    except OSError:  # the wheel is there, the shared library it loads is not
        return None
    return str(sounddevice.__file__)


def _pseudo_terminal() -> str | None:
    if os.name == "nt":
        return None
    import pty

    try:
        ours, theirs = pty.openpty()
    except OSError:  # a container without /dev/pts
        return None
    name = os.ttyname(theirs)
    os.close(ours)
    os.close(theirs)
    return name


def _alsa_pulse_plugin() -> str | None:
    folders = [*Path("/usr/lib").glob("*/alsa-lib"), Path("/usr/lib/alsa-lib"), Path("/usr/lib64/alsa-lib")]
    plugin = "libasound_module_pcm_pulse.so"
    return next((str(folder / plugin) for folder in folders if (folder / plugin).exists()), None)


PARTS = {
    "chromium": Part(_program("chromium", "chromium-browser"), "chromium"),
    "portaudio": Part(_portaudio, "libportaudio2"),
    "pulseaudio": Part(_program("pulseaudio"), "pulseaudio"),
    "paplay": Part(_program("paplay"), "pulseaudio-utils"),
    "pactl": Part(_program("pactl"), "pulseaudio-utils"),
    "ssh-keygen": Part(_program("ssh-keygen"), "openssh-client"),
    "sha256sum": Part(_program("sha256sum"), "coreutils"),
    "pseudo terminal": Part(_pseudo_terminal, "none; /dev/pts must be mounted"),
    "alsa-pulse": Part(_alsa_pulse_plugin, "libasound2-plugins"),
}


def in_ci() -> bool:
    """Whether .ci/run, or a service that sets CI, is running the tests."""
    return os.environ.get("CI", "").lower() in {"1", "true", "yes"}


def needs(name: str) -> str:
    """Return where the system part is; without it skip the test, or fail it in CI."""
    part = PARTS[name]
    found = part.find()
    if found is not None:
        return found
    reason = f"needs {name}, which is not on this machine (Debian package {part.package})"
    if in_ci():
        pytest.fail(f"{reason}. In CI that is a failure: add it to .ci/run.")
    pytest.skip(reason)
