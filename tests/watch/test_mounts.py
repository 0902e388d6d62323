"""Which file systems send no events, by the type that the kernel tells."""

from __future__ import annotations

import pytest

from grouper.watch.mounts import is_silent, silent_type

TABLE = """\
22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
30 22 0:26 / /srv/share rw,relatime - cifs //nas/photos rw
31 22 0:27 / /srv/my\\040photos rw - nfs4 nas:/photos rw
32 22 8:17 / /media/ilse/QMARK rw - exfat /dev/sdb1 rw
33 22 0:30 / /srv/phone rw - fuse.sshfs ilse@phone: rw
34 22 0:31 / /srv/stick rw - fuseblk /dev/sdc1 rw
35 22 0:32 / /srv/over rw - nfs nas:/x rw
36 35 8:33 / /srv/over rw - xfs /dev/sdd rw
37 22 0:33 / /srv/mixed/cards/far rw - 9p host rw
bad line
"""


@pytest.mark.parametrize(
    ("folder", "kind"),
    [
        ("/home/ilse/inbox", None),
        ("/srv/share", "cifs"),
        ("/srv/share/inbox", "cifs"),
        ("/srv/shared", None),
        ("/srv/my photos/inbox", "nfs4"),
        ("/media/ilse", None),
        ("/media/ilse/QMARK/DCIM", None),
        ("/srv/phone", "fuse.sshfs"),
        ("/srv/stick", None),
        ("/srv/over", None),
        ("/srv/mixed/cards", "9p"),
    ],
)
def test_the_type_of_what_is_mounted_there(folder: str, kind: str | None) -> None:
    assert silent_type(folder, TABLE) == kind


@pytest.mark.parametrize("kind", ["ext4", "xfs", "btrfs", "vfat", "exfat", "ntfs3", "fuseblk"])
def test_local_disks_send_events(kind: str) -> None:
    assert not is_silent(kind)
