"""Signing an archive with OpenSSH's own program; nothing here does any cryptography.

Conventions: ``ssh-keygen -Y sign`` and ``-Y verify`` (OpenSSH 8.0 and later, its manual page ssh-keygen(1))
with the namespace below; the signature lies beside the archive under its name with ``.sig``.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

from pitchcheck.jobs.errors import NotSigned

NAMESPACE = "pitchcheck-job"
PROGRAM = "ssh-keygen"


def sign_archive(archive: Path, *, key: Path) -> Path:
    """Sign an archive; return the file with the signature.

    Parameters
    ----------
    archive : Path
    key : Path
        A private key, or a public one whose private half an agent holds. The program asks for a pass phrase.

    Raises
    ------
    NotSigned
        If the program is missing or refuses.
    """
    signature = archive.with_name(archive.name + ".sig")
    if signature.exists():
        raise NotSigned(f"{signature} is already there and is left alone. Move it away, then sign again.")
    _run(["-Y", "sign", "-f", str(key), "-n", NAMESPACE, str(archive)], stdin=None)
    return signature


def check_signature(archive: Path, *, signers: Path, signer: str) -> None:
    """Raise NotSigned unless a named person signed an archive.

    Parameters
    ----------
    archive : Path
        Its signature lies beside it.
    signers : Path
        List of public keys, one line each: name and key ("ALLOWED SIGNERS" in ssh-keygen(1)).
    signer : str
        Name in that list.
    """
    signature = archive.with_name(archive.name + ".sig")
    if not signature.is_file():
        raise NotSigned(
            f"{signature.name} is not beside the archive. Ask for it, or import without --signer."
        )
    words = ["-Y", "verify", "-f", str(signers), "-I", signer, "-n", NAMESPACE, "-s", str(signature)]
    _run(words, stdin=archive)


def _run(words: list[str], *, stdin: Path | None) -> None:
    """Run the program; its own words are the reason if it refuses."""
    program = shutil.which(PROGRAM)
    if program is None:
        raise NotSigned(
            f"{PROGRAM} is not on this computer. Install OpenSSH, or sign the archive with a tool you have."
        )
    try:
        if stdin is None:
            done = subprocess.run([program, *words], capture_output=True, check=False)
        else:
            with stdin.open("rb") as file:
                done = subprocess.run([program, *words], stdin=file, capture_output=True, check=False)
    except OSError as error:
        raise NotSigned(f"{PROGRAM} could not be run ({error.strerror or error}).") from error
    if done.returncode != 0:
        said = " ".join((done.stderr + done.stdout).decode("utf-8", "replace").split())
        raise NotSigned(f"{PROGRAM} refused: {said[:300] or 'no reason given'}.")
