"""What kind of disk a folder lies on, as the operating system says it; where it says nothing, nothing is said."""

import ctypes
import os
import re
import struct
import sys
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

# Names of file systems whose files live on another computer, or in the host of a virtual one.
_NETWORK = frozenset(
    {
        *("nfs", "nfs4", "cifs", "smb3", "smbfs", "ncpfs", "afs", "coda", "9p", "ceph", "lustre", "gfs2", "ocfs2"),
        *("glusterfs", "davfs", "sshfs", "rclone", "s3fs", "curlftpfs", "gvfsd-fuse", "vboxsf", "vmhgfs", "virtiofs"),
    }
)
_WINDOWS_REMOTE = 4
# struct statfs of a Mac with 64-bit inodes: f_flags at 64, f_fstypename at 72; MNT_LOCAL is 0x1000.
_MAC_FLAGS_AT, _MAC_TYPE_AT, _MAC_LOCAL = 64, 72, 0x1000


@dataclass(frozen=True)
class _Mount:
    """One line of /proc/self/mountinfo."""

    device: str
    point: PurePosixPath
    kind: str


def network_kind(folder: Path) -> str | None:
    """The kind of network share that `folder` lies on; None if it lies on none or nobody knows."""
    try:
        if sys.platform == "win32":
            return _on_windows(folder)
        if sys.platform == "darwin":
            return _on_mac(folder)
        number = folder.stat().st_dev
        mounts = Path("/proc/self/mountinfo").read_text(encoding="utf-8", errors="surrogateescape")
        return kind_by_mounts(mounts, PurePosixPath(folder.resolve()), f"{os.major(number)}:{os.minor(number)}")
    except (OSError, ValueError, AttributeError):
        return None


def place_warning(folder: Path) -> str:
    """A sentence if the register's folder lies on a network share, else nothing."""
    kind = network_kind(folder)
    if kind is None:
        return ""
    return (
        f"The register in {folder} lies on a network share ({kind}), where two terminals may write over each other "
        "unseen: keep it on a disk of this computer, or work at one terminal at a time."
    )


def kind_by_mounts(mounts: str, folder: PurePosixPath, device: str) -> str | None:
    """The kind of network share by the text of /proc/self/mountinfo.

    Parameters
    ----------
    mounts
        One mount a line: proc_pid_mountinfo(5).
    folder
        Absolute, without links.
    device
        `major:minor` of the folder; tells mounts apart where one hides another. Some local file systems show another
        number than their mount, so that the nearest mount above the folder decides where none has it.
    """
    found = [each for each in map(_mount, mounts.splitlines()) if each and folder.is_relative_to(each.point)]
    same = [each for each in found if each.device == device] or found
    if not same:
        return None
    # Of mounts at one place the last hides the others.
    nearest = max(enumerate(same), key=lambda each: (len(each[1].point.parts), each[0]))[1]
    kind = nearest.kind.removeprefix("fuse.")
    return kind if kind in _NETWORK else None


def _mount(line: str) -> _Mount | None:
    words = line.split(" ")
    if len(words) < 9 or "-" not in words[6:]:
        return None
    point = re.sub(r"\\([0-7]{3})", lambda octal: chr(int(octal[1], 8)), words[4])
    return _Mount(words[2], PurePosixPath(point), words[words.index("-", 6) + 1])


def _on_windows(folder: Path) -> str | None:
    if sys.platform != "win32":
        return None
    drive = f"{folder.resolve().drive}\\"
    return "network drive" if ctypes.windll.kernel32.GetDriveTypeW(drive) == _WINDOWS_REMOTE else None


def _on_mac(folder: Path) -> str | None:
    library = ctypes.CDLL(None, use_errno=True)
    # On older Macs the plain name is the call with 32-bit inodes and another layout.
    call = getattr(library, "statfs$INODE64", None) or library.statfs
    kept = ctypes.create_string_buffer(4096)
    if call(os.fsencode(folder), kept) != 0:
        return None
    return mac_kind(kept.raw)


def mac_kind(kept: bytes) -> str | None:
    """The kind of network share by the bytes of a Mac's `struct statfs`; None for a local disk."""
    (flags,) = struct.unpack_from("=I", kept, _MAC_FLAGS_AT)
    kind = kept[_MAC_TYPE_AT : _MAC_TYPE_AT + 16].split(b"\0")[0].decode("ascii", "replace")
    return None if flags & _MAC_LOCAL else kind
