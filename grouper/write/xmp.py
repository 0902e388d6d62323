"""``sets/<set id>/xmp/<stem>.xmp``: set membership as XMP sidecars, asked for by --xmp. Pure.

XMP packets by ISO 16684-1, in RDF/XML. They stand in the output folder, not beside the
photographs, for grouper does not write to cards; copied beside a photograph they serve all
files of its stem. A frame that has a sidecar already gets none.

Properties stand in a namespace of grouper's own; ``dc:relation`` (Dublin Core, a bag of
related resources) names the set and its other takes for programs that know only that.
"""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree as Xml

from grouper.contracts import Writer
from grouper.model import Member, Result, Set
from grouper.write.paths import set_folder, unique_names

NAMESPACE = "http://ns.grouper.invalid/sets/1.0/"
"""An identifier only; ``.invalid`` never resolves (RFC 2606)."""

_META = "adobe:ns:meta/"  # as ISO 16684-1 has it
_RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
_DC = "http://purl.org/dc/elements/1.1/"


def packet(one: Set, member: Member) -> bytes:
    """The XMP packet that says where a frame belongs."""
    for prefix, uri in (("x", _META), ("rdf", _RDF), ("dc", _DC), ("grouper", NAMESPACE)):
        Xml.register_namespace(prefix, uri)
    meta = Xml.Element(f"{{{_META}}}xmpmeta")
    about = Xml.SubElement(
        Xml.SubElement(meta, f"{{{_RDF}}}RDF"), f"{{{_RDF}}}Description", {f"{{{_RDF}}}about": ""}
    )
    for name, value in _properties(one, member):
        Xml.SubElement(about, f"{{{NAMESPACE}}}{name}").text = value
    bag = Xml.SubElement(Xml.SubElement(about, f"{{{_DC}}}relation"), f"{{{_RDF}}}Bag")
    for set_id in (one.id, *one.takes):
        Xml.SubElement(bag, f"{{{_RDF}}}li").text = f"grouper-set:{set_id}"
    Xml.indent(meta)
    # The header of a packet: the id is the same in every packet, by ISO 16684-1, 7.3.2.
    head = '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'
    return f'{head}{Xml.tostring(meta, "unicode")}\n<?xpacket end="w"?>\n'.encode()


def _properties(one: Set, member: Member) -> Iterator[tuple[str, str]]:
    yield "SetId", one.id
    yield "SetKind", one.kind
    yield "SetFrames", str(len(one.members))
    yield "Row", str(member.row)
    yield "View", str(member.view)
    yield "Leg", str(member.leg)
    yield "Step", str(member.step)
    yield "Spare", "True" if member.spare else "False"


def _render(result: Result, made: str) -> Iterator[tuple[str, bytes]]:
    there = {file.casefold() for file in _other_files(result) if file.casefold().endswith(".xmp")}
    for one in result.sets:
        folder = set_folder(one)
        fresh = {_sidecar(m.frame.file): m for m in one.members if not _has_one(m, there)}
        for sidecar, name in unique_names(fresh).items():
            yield f"{folder}/xmp/{name}", packet(one, fresh[sidecar])


def _other_files(result: Result) -> Iterator[str]:
    yield from result.scan.ignored
    for frame in result.scan.frames:
        yield from frame.companions


def _has_one(member: Member, there: set[str]) -> bool:
    """Sidecars are named by the stem or by the whole name; both are in use (common practice)."""
    files = (member.frame.file, *member.frame.companions)
    return any(
        name.casefold() in there for file in files for name in (f"{file}.xmp", _sidecar(file))
    )


def _sidecar(file: str) -> str:
    folder, slash, name = file.rpartition("/")
    return f"{folder}{slash}{name.rsplit('.', 1)[0] or name}.xmp"


WRITER = Writer(
    name="xmp", summary="an XMP sidecar per frame of a set", render=_render, when="asked"
)
