"""Whether events come from a folder: network file systems do not tell of others' changes."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Final

MOUNTS: Final = Path("/proc/self/mountinfo")
_NETWORK: Final = """
    nfs nfs3 nfs4 cifs smb smb2 smb3 smbfs ncpfs afs coda ceph lustre gpfs gfs2 ocfs2 glusterfs
    beegfs orangefs pvfs2 9p virtiofs vboxsf vmhgfs prl_fs drvfs davfs webdav fuse
"""
SILENT: Final = frozenset(_NETWORK.split())
"""Types of file systems where another machine can change files: the kernel of this one does not
hear of it. ``fuse.<name>`` counts too; ``fuseblk`` is a local disk and does not."""
_OCTAL: Final = re.compile(r"\\([0-7]{3})")


def silent_type(folder: str, table: str) -> str | None:
    """The type of a file system at or below ``folder`` that tells of no changes, if any.

    Args:
        folder: absolute real path.
        table: as the kernel writes it into ``/proc/self/mountinfo`` (proc(5)).
    """
    mounts = list(_mounts(table))
    around = [mount for mount in mounts if _is_inside(folder, mount[0])]
    if around:  # the last of those mounted over one another is the one that shows
        _, kind = max(enumerate(around), key=lambda item: (len(item[1][0]), item[0]))[1]
        if is_silent(kind):
            return kind
    below = [kind for place, kind in mounts if place != folder and _is_inside(place, folder)]
    return next((kind for kind in below if is_silent(kind)), None)


def is_silent(kind: str) -> bool:
    """Whether a type of file system tells of no changes made elsewhere."""
    return kind in SILENT or kind.startswith("fuse.")


def silent_type_of(folder: str) -> str | None:
    """As ``silent_type``, for this system; ``None`` also where the system does not say."""
    try:
        table = MOUNTS.read_text("utf-8", "surrogateescape")
    except OSError:
        return None
    return silent_type(os.path.realpath(folder), table)


def _mounts(table: str) -> list[tuple[str, str]]:
    """(mount point, type) in the order mounted."""
    found = []
    for line in table.splitlines():
        before, _, after = line.partition(" - ")
        fields, kinds = before.split(), after.split()
        if len(fields) > 4 and kinds:
            place = _OCTAL.sub(lambda match: chr(int(match[1], 8)), fields[4])
            found.append((place, kinds[0]))
    return found


def _is_inside(path: str, folder: str) -> bool:
    return path == folder or path.startswith(folder.rstrip("/") + "/")
