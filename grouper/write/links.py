"""``sets/<set id>/frames/``: the photographs of a set under one roof, asked for by --links.

What is to be linked is decided here; how it gets onto the disk is ``replace.py``'s business.
Companions are linked too, so that a set is whole in either format.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.model import Result
from grouper.write.paths import set_folder, unique_names


def planned_links(result: Result) -> Iterator[tuple[str, str]]:
    """Pairs of a path relative to the output folder and the file relative to the card."""
    for one in result.sets:
        files = [
            file for member in one.members for file in (member.frame.file, *member.frame.companions)
        ]
        for file, name in unique_names(files).items():
            yield f"{set_folder(one)}/frames/{name}", file
