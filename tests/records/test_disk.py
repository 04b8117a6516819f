"""Records are not kept where they can be lost: on a network drive, or in a folder that a service keeps in step."""

from pathlib import Path

import pytest
from tests.records.sample import NOW, reading

from weirhouse.records import disk
from weirhouse.records.model import RecordsError
from weirhouse.records.store import Store

# As /proc/mounts and macOS's mount write it.
LINUX = r"""/dev/sda2 / ext4 rw,relatime 0 0
proc /proc proc rw 0 0
nas:/plant /mnt/office nfs4 rw,vers=4.2 0 0
//nas/plant /mnt/two\040words cifs rw 0 0
hale@nas:/plant /home/hale/far fuse.sshfs rw 0 0
/dev/sdb1 /mnt/office/stick ext4 rw 0 0
"""
MAC = """/dev/disk3s1s1 on / (apfs, sealed, local, read-only, journaled)
//hale@nas/plant on /Volumes/plant records (smbfs, nodev, nosuid, mounted by hale)
/dev/disk3s5 on /System/Volumes/Data (apfs, local, journaled, nobrowse)
"""


@pytest.mark.parametrize(
    ("mounts", "path", "kind"),
    [
        (LINUX, "/home/hale/plant", "ext4"),
        (LINUX, "/mnt/office/plant", "nfs4"),
        (LINUX, "/mnt/office", "nfs4"),
        (LINUX, "/mnt/office/stick/plant", "ext4"),
        (LINUX, "/mnt/officer", "ext4"),
        (LINUX, "/mnt/two words/plant", "cifs"),
        (LINUX, "/home/hale/far/plant", "fuse.sshfs"),
        (MAC, "/Users/hale/plant", "apfs"),
        (MAC, "/Volumes/plant records/upper", "smbfs"),
        ("", "/anywhere", ""),
    ],
)
def test_the_file_system_of_a_path_is_that_of_the_nearest_mount(mounts, path, kind):
    assert disk.kind_of(Path(path), mounts) == kind


@pytest.mark.parametrize(
    ("path", "where"),
    [
        ("/home/hale/Dropbox/plant", "/home/hale/Dropbox"),
        ("/Users/hale/Library/CloudStorage/OneDrive-Emberly/plant", "/Users/hale/Library/CloudStorage"),
        ("/home/hale/OneDrive - Emberly/plant", "/home/hale/OneDrive - Emberly"),
        ("/home/hale/Google Drive", "/home/hale/Google Drive"),
        ("/home/hale/Nextcloud/a/b", "/home/hale/Nextcloud"),
        ("/home/hale/plant", ""),
        ("/home/hale/drive/dropbox notes", ""),
    ],
)
def test_a_folder_that_a_service_keeps_in_step_is_known_by_its_name(path, where):
    assert disk.synced(Path(path)) == where


def test_or_by_what_the_service_leaves_in_it(tmp_path):
    (tmp_path / "shared" / "plant").mkdir(parents=True)
    (tmp_path / "shared" / ".stfolder").mkdir()
    assert disk.synced(tmp_path / "shared" / "plant") == str(tmp_path / "shared")


@pytest.fixture
def forgotten():
    """What is found about a folder is kept for a run; not from one test to the next."""
    disk._why_not.cache_clear()
    yield
    disk._why_not.cache_clear()


def test_records_in_a_synced_folder_are_refused_and_nothing_is_made(tmp_path):
    folder = tmp_path / "Dropbox" / "plant"
    folder.mkdir(parents=True)
    with pytest.raises(RecordsError) as told:
        Store.open(folder, create=True)
    assert str(told.value) == (
        f"{folder} lies in {tmp_path / 'Dropbox'}, which is kept in step with another place: what is stored there can "
        "be lost. Nothing was opened. Keep the plant's folder on a disk of this computer, and let backups go elsewhere."
    )
    assert list(folder.iterdir()) == []


def test_a_link_into_a_synced_folder_is_seen_through(tmp_path):
    (tmp_path / "Dropbox").mkdir()
    (tmp_path / "plant").symlink_to(tmp_path / "Dropbox")
    with pytest.raises(RecordsError, match="kept in step"):
        Store.open(tmp_path / "plant", create=True)


def test_records_on_a_network_drive_are_refused_for_writing_and_can_be_looked_at(tmp_path, monkeypatch, forgotten):
    with Store.open(tmp_path, create=True) as store:
        store.add_readings([reading()], entered_at=NOW)
    disk._why_not.cache_clear()
    monkeypatch.setattr(disk, "_mounts", lambda: f"nas:/x {tmp_path} nfs4 rw 0 0")
    for ways in ({}, {"create": True}):
        with pytest.raises(RecordsError, match=r"is on a network drive \(nfs4\): what is stored there can be lost"):
            Store.open(tmp_path, **ways)
    with Store.open(tmp_path, read_only=True) as store:
        assert len(store.readings()) == 1


def test_where_it_cannot_be_told_nothing_is_refused(tmp_path, monkeypatch, forgotten):
    monkeypatch.setattr(disk, "_mounts", lambda: "")
    Store.open(tmp_path, create=True).close()
