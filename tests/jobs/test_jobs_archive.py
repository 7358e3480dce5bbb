"""Export and import: a round trip changes no byte, and no archive gets out of its folder or over a job."""

from __future__ import annotations

import shutil
import stat
import struct
import subprocess
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from helpers.jobs import NOW, contents, full_job, sound
from helpers.system import needs
from pitchcheck.errors import BadInput
from pitchcheck.jobs.archive import export_job, import_job
from pitchcheck.jobs.errors import BadArchive, JobDamaged, NewerFormat, NotSigned, NotStored
from pitchcheck.jobs.read import find_job, list_jobs, read_job
from pitchcheck.jobs.sign import check_signature, sign_archive
from pitchcheck.jobs.sums import sum_of_file
from pitchcheck.jobs.write import add_note


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return full_job(tmp_path_factory.mktemp("whole")).folder


@pytest.fixture(scope="module")
def archive(job: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("out") / "job.zip"
    assert export_job(job, path) == sum_of_file(path)
    return path


def rewritten(archive: Path, target: Path, change: Callable[[zipfile.ZipFile], None]) -> Path:
    """Copy an archive and let something more be written into it."""
    shutil.copyfile(archive, target)
    with zipfile.ZipFile(target, "a") as packed:
        change(packed)
    return target


def test_a_round_trip_changes_no_byte(job: Path, archive: Path, tmp_path: Path) -> None:
    made = import_job(tmp_path / "jobs", archive)
    assert contents(made.folder) == contents(job)
    assert made.folder.name == job.name
    there, here = sound(made.folder), sound(job)
    assert there == here
    assert made.fingerprint == read_job(job).fingerprint
    assert export_job(made.folder, tmp_path / "again.zip") == sum_of_file(archive)
    assert [path.name for path in (tmp_path / "jobs").iterdir()] == [job.name]


def test_a_job_that_a_person_renamed_is_found_and_travels_under_its_own_id(job: Path, tmp_path: Path) -> None:
    copy = Path(shutil.copytree(job, tmp_path / "jobs" / "Old Lamp"))
    assert [line.id for line in list_jobs(tmp_path / "jobs")] == ["Old Lamp"]
    assert find_job(tmp_path / "jobs", "old lamp") == copy
    export_job(copy, tmp_path / "out.zip")
    assert import_job(tmp_path / "there", tmp_path / "out.zip").id == job.name


def test_an_imported_job_can_be_written_on(archive: Path, tmp_path: Path) -> None:
    made = import_job(tmp_path / "jobs", archive)
    add_note(made.folder, "back on the bench", now=NOW)
    sound(made.folder)


def test_an_existing_job_or_archive_is_never_replaced(job: Path, archive: Path) -> None:
    before = contents(job)
    with pytest.raises(BadArchive, match="already in"):
        import_job(job.parent, archive)
    with pytest.raises(BadInput, match="already there"):
        export_job(job, archive)
    assert contents(job) == before
    sound(job)


def test_a_job_that_is_not_as_it_was_written_is_not_exported(job: Path, tmp_path: Path) -> None:
    copy = Path(shutil.copytree(job, tmp_path / job.name))
    (copy / "passes/01-before/002.flac").write_bytes(b"other")
    with pytest.raises(JobDamaged, match=r"changed passes/01-before/002\.flac"):
        export_job(copy, tmp_path / "out.zip")
    assert not (tmp_path / "out.zip").exists()


@pytest.mark.parametrize(
    "name",
    [
        "../outside.txt",
        "{id}/../../outside.txt",
        "/outside.txt",
        "{id}/notes/..\\..\\outside.txt",
        "C:/outside.txt",
        "{id}//outside.txt",
        "{id}/aux.txt",
        "{id}/lock",
        "{id}/ready/notes/0009.md",
        "{id}/unfinished-0001/outside.txt",
        "{id}/JOB.TOML",
        "another-job/job.toml",
    ],
)
def test_a_path_that_leads_out_or_doubles_is_refused(
    job: Path, archive: Path, tmp_path: Path, name: str
) -> None:
    path = rewritten(
        archive, tmp_path / "bad.zip", lambda packed: packed.writestr(name.format(id=job.name), "x")
    )
    refuse(path, tmp_path)


def refuse(path: Path, tmp_path: Path) -> str:
    """Insist that an archive is refused and that nothing was written anywhere."""
    jobs = tmp_path / "deep" / "jobs"
    before = {path.name for path in tmp_path.iterdir()} | {"deep"}
    with pytest.raises(BadArchive) as refusal:
        import_job(jobs, path)
    assert list_jobs(jobs) == ()
    assert [p for p in tmp_path.rglob("*") if "outside" in p.name] == []
    assert not jobs.is_dir() or list(jobs.iterdir()) == []
    assert {path.name for path in tmp_path.iterdir()} <= before
    return str(refusal.value)


def test_a_link_in_an_archive_is_refused(job: Path, archive: Path, tmp_path: Path) -> None:
    info = zipfile.ZipInfo(f"{job.name}/passes/link.wav")
    info.external_attr = (stat.S_IFLNK | 0o777) << 16
    path = rewritten(archive, tmp_path / "bad.zip", lambda packed: packed.writestr(info, "/etc/passwd"))
    assert "link" in refuse(path, tmp_path)


def test_a_file_in_no_list_or_a_changed_one_is_refused(job: Path, archive: Path, tmp_path: Path) -> None:
    name = f"{job.name}/notes/0099.md"
    path = rewritten(archive, tmp_path / "bad.zip", lambda packed: packed.writestr(name, "x"))
    assert "new notes/0099.md" in refuse(path, tmp_path)
    content = bytearray(archive.read_bytes())
    content[content.index(b"fLaC") + 5000] ^= 1
    path.write_bytes(content)
    refuse(path, tmp_path)


def test_an_archive_that_would_fill_the_disk_is_refused(job: Path, archive: Path, tmp_path: Path) -> None:
    """A hundred megabytes of nothing in a few kilobytes."""
    path = tmp_path / "bad.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr(f"{job.name}/job.toml", "schema = 1\n")
        packed.writestr(f"{job.name}/passes/big.wav", bytes(100_000_000))
    assert "would unpack to" in refuse(path, tmp_path)


def test_a_file_that_holds_more_than_it_says_is_refused(job: Path, tmp_path: Path) -> None:
    """The size in both headers is made smaller than the packed data (zip format, 4.4.9)."""
    path = tmp_path / "bad.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr(f"{job.name}/job.toml", "schema = 1\n" + "#" * 5000)
    right, wrong = struct.pack("<I", 5011), struct.pack("<I", 20)
    content = path.read_bytes()
    assert content.count(right) == 2
    path.write_bytes(content.replace(right, wrong))
    refuse(path, tmp_path)


@pytest.mark.parametrize("content", [b"", b"no archive at all", b"PK\x05\x06" + bytes(18)])
def test_what_is_no_archive_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "bad.zip"
    path.write_bytes(content)
    refuse(path, tmp_path)


def test_every_cut_off_archive_is_refused(archive: Path, tmp_path: Path) -> None:
    whole = archive.read_bytes()
    for share in (0.1, 0.5, 0.9, 0.999):
        path = tmp_path / "bad.zip"
        path.write_bytes(whole[: int(len(whole) * share)])
        refuse(path, tmp_path)


@pytest.mark.parametrize("packing", [zipfile.ZIP_DEFLATED, zipfile.ZIP_LZMA])
def test_a_packed_archive_with_damaged_bytes_is_refused(archive: Path, tmp_path: Path, packing: int) -> None:
    """As a person may have packed it anew; the damage is met while unpacking, before any sum is looked at."""
    path = tmp_path / "bad.zip"
    with zipfile.ZipFile(archive) as whole, zipfile.ZipFile(path, "w", packing) as packed:
        for entry in whole.infolist():
            packed.writestr(entry.filename, whole.read(entry))
        longest = max(packed.infolist(), key=lambda e: e.compress_size)
    content = bytearray(path.read_bytes())
    start = longest.header_offset + 30 + len(longest.filename.encode())
    start += 20 if packing == zipfile.ZIP_LZMA else 0  # past what names the way of packing
    content[start : start + 40] = b"\xff" * 40
    path.write_bytes(content)
    refuse(path, tmp_path)


def test_a_newer_job_is_refused_whole(job: Path, tmp_path: Path) -> None:
    path = tmp_path / "newer.zip"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr(f"{job.name}/job.toml", "schema = 2\n")
    with pytest.raises(NewerFormat, match="Update the program"):
        import_job(tmp_path / "jobs", path)
    assert list((tmp_path / "jobs").iterdir()) == []


def test_an_archive_that_cannot_be_written_leaves_nothing(
    job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse_all(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pitchcheck.jobs.archive.copyfileobj", refuse_all)
    with pytest.raises(NotStored, match="No space left"):
        export_job(job, tmp_path / "out.zip")
    assert list(tmp_path.iterdir()) == []


def test_a_signature_is_made_and_checked_by_openssh(archive: Path, tmp_path: Path) -> None:
    """The check is OpenSSH's own; a flipped byte, another signer and a missing signature are refused."""
    program = needs("ssh-keygen")
    for name in ("bench", "other"):
        words = [program, "-q", "-t", "ed25519", "-N", "", "-C", name, "-f", str(tmp_path / name)]
        subprocess.run(words, check=True, stdin=subprocess.DEVNULL)
    mine = Path(shutil.copy(archive, tmp_path / "job.zip"))
    signers = tmp_path / "signers"
    signers.write_text(
        "".join(f"{name} {(tmp_path / f'{name}.pub').read_text()}" for name in ("bench", "other"))
    )
    with pytest.raises(NotSigned, match="not beside the archive"):
        check_signature(mine, signers=signers, signer="bench")
    signature = sign_archive(mine, key=tmp_path / "bench")
    assert signature.name == "job.zip.sig"
    check_signature(mine, signers=signers, signer="bench")
    with pytest.raises(NotSigned):
        check_signature(mine, signers=signers, signer="other")
    with pytest.raises(NotSigned, match="left alone"):
        sign_archive(mine, key=tmp_path / "bench")
    content = bytearray(mine.read_bytes())
    content[len(content) // 2] ^= 1
    mine.write_bytes(content)
    with pytest.raises(NotSigned):
        check_signature(mine, signers=signers, signer="bench")


def test_without_openssh_signing_says_what_to_install(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(NotSigned, match="Install OpenSSH"):
        sign_archive(archive, key=tmp_path / "key")
