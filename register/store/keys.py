"""Row keys: 128 bits, ordered by time, made by the program, so that two registers can be merged one day."""

import secrets
from datetime import datetime


def new_key(now: datetime) -> str:
    """A fresh key as 32 hexadecimal figures.

    Notes
    -----
    48 bits of Unix time in milliseconds, then version, variant and 74 random bits.
    Source: UUID version 7, RFC 9562 section 5.7.
    """
    milliseconds = int(now.timestamp() * 1000) & (1 << 48) - 1
    noise = secrets.randbits(74)
    value = milliseconds << 80 | 7 << 76 | (noise >> 62) << 64 | 0b10 << 62 | noise & (1 << 62) - 1
    return f"{value:032x}"
