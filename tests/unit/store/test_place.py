from pathlib import Path

import pytest

from emberline.store.errors import StoreBusyError, StorePlaceError
from emberline.store.place import WriterLock, refuse_network_share

LOCAL = "/dev/sda1 / ext4 rw 0 0\n"


@pytest.mark.parametrize("kind", ["nfs4", "cifs", "9p", "fuse.sshfs", "smb3"])
def test_a_network_share_is_refused_by_name(kind: str) -> None:
    with pytest.raises(StorePlaceError, match="local disk"):
        refuse_network_share(Path("/mnt/nas/burns/s.sqlite3"), f"{LOCAL}nas:/x /mnt/nas {kind} rw 0 0\n")


@pytest.mark.parametrize("kind", ["ext4", "btrfs", "overlay", "tmpfs", "fuse.ntfs-3g", "vfat"])
def test_a_local_file_system_is_taken(kind: str) -> None:
    refuse_network_share(Path("/mnt/stick/s.sqlite3"), f"{LOCAL}/dev/sdb1 /mnt/stick {kind} rw 0 0\n")


def test_the_innermost_mount_decides() -> None:
    table = f"{LOCAL}nas:/x /mnt/nas nfs rw 0 0\n/dev/sdb1 /mnt/nas/local ext4 rw 0 0\n"
    refuse_network_share(Path("/mnt/nas/local/s.sqlite3"), table)
    refuse_network_share(Path("/mnt/nasty/s.sqlite3"), table)
    with pytest.raises(StorePlaceError):
        refuse_network_share(Path("/mnt/nas/s.sqlite3"), table)


def test_blanks_in_a_mount_point_are_understood() -> None:
    with pytest.raises(StorePlaceError, match="My share"):
        refuse_network_share(Path("/media/My share/s"), LOCAL + "//nas/x /media/My\\040share cifs rw 0 0\nbroken\n")


def test_this_machines_own_table_can_be_read(tmp_path: Path) -> None:
    refuse_network_share(tmp_path / "s", LOCAL)
    refuse_network_share(Path("/s"), "")


def test_one_writer_at_a_time(tmp_path: Path) -> None:
    first = WriterLock(tmp_path / "s")
    with pytest.raises(StoreBusyError, match="another program"):
        WriterLock(tmp_path / "s")
    first.release()
    first.release()
    WriterLock(tmp_path / "s").release()


def test_a_link_to_the_store_has_the_same_lock(tmp_path: Path) -> None:
    (tmp_path / "s").touch()
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "s").symlink_to(tmp_path / "s")
    first = WriterLock(tmp_path / "s")
    with pytest.raises(StoreBusyError):
        WriterLock(tmp_path / "elsewhere" / "s")
    first.release()


def test_a_missing_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(StorePlaceError, match="cannot write"):
        WriterLock(tmp_path / "nowhere" / "s")
