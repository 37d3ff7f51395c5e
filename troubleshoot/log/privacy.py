"""What is nobody else's business on a disk: the modes of logs and their folders."""

from __future__ import annotations

import errno
from typing import Final

from troubleshoot.log.disk import Disk

PRIVATE_FILE: Final = 0o600
PRIVATE_FOLDER: Final = 0o700
_CANNOT_CHMOD: Final = frozenset(
    {errno.EPERM, errno.EACCES, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EROFS}
)


def make_private(fd: int, disk: Disk) -> bool:
    """Take the file from everybody else; False where the drive has no such thing, as on a stick."""
    try:
        disk.chmod(fd, PRIVATE_FILE)
    except OSError as error:
        if error.errno not in _CANNOT_CHMOD:
            raise
        return False
    return True
