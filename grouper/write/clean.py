"""Foreign text made fit to be shown: no terminal tricks, no reading direction tricks. Pure."""

from __future__ import annotations

import unicodedata

# Controls, formats (bidi overrides, zero-width signs), surrogates, private use, not
# assigned, and separators of lines and paragraphs (Unicode Standard, general categories).
_HIDDEN = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")


def shown(text: str) -> str:
    r"""``text`` with every character that is not plainly visible as its escape.

    A file name may hold escape sequences that move the cursor or recolour the screen, and
    overrides that turn ``GPJ.exe`` round; a person has to see what is really there.
    """
    if text.isprintable():  # has none of those signs
        return text
    return "".join(sign if _visible(sign) else _escape(sign) for sign in text)


def _visible(sign: str) -> bool:
    return unicodedata.category(sign) not in _HIDDEN


def _escape(sign: str) -> str:
    code = ord(sign)
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
