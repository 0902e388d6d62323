"""What the service and its child say to one another: a line of JSON for a job and an answer.

The child opens foreign files, so what it answers is plain JSON and is looked at like any
foreign text; what the service asks is trusted.
"""

from __future__ import annotations

import base64
import json
import pickle
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import blake2b
from typing import Any, Final

from grouper.settings import Settings

MOST_LINE: Final = 32 << 20
"""Longest answer: 100,000 sets of 200 bytes are 20 MB."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A card to be grouped."""

    card: str
    """Absolute path, no link on its last step."""
    out: str
    identity: bytes
    """Of the look that found it still: grouped only while the card looks so."""
    settings: Settings
    jobs: int
    use_cache: bool

    def line(self) -> bytes:
        """The job as a line."""
        body = {
            "card": self.card,
            "out": self.out,
            "identity": self.identity.hex(),
            "settings": base64.b64encode(pickle.dumps(self.settings)).decode(),
            "jobs": self.jobs,
            "use_cache": self.use_cache,
        }
        return json.dumps(body).encode("ascii") + b"\n"

    @classmethod
    def from_line(cls, line: bytes) -> Job:
        """The job of a line that ``line`` made."""
        body = json.loads(line)
        return cls(
            card=body["card"],
            out=body["out"],
            identity=bytes.fromhex(body["identity"]),
            settings=pickle.loads(base64.b64decode(body["settings"])),
            jobs=body["jobs"],
            use_cache=body["use_cache"],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SetTold:
    """A set as the child tells of it."""

    id: str
    kind: str
    verdict: str
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of a job."""

    kind: str
    """"done", "changed" (the card, while it was read: nothing was written) or "failed"."""
    error: str = ""
    trace: str = ""
    digest: str = ""
    sets: tuple[SetTold, ...] = ()
    told: Mapping[str, Any] | None = None
    written: int = 0
    removed: int = 0
    notes: tuple[str, ...] = ()
    memory_mb: float = 0.0


def outcome_from(body: Mapping[str, Any]) -> Outcome:
    """An answer as a record; one that makes no sense is a failure."""
    try:
        if body["kind"] not in ("done", "changed", "failed"):
            raise ValueError(body["kind"])
        told = body.get("told")
        if told is not None and not isinstance(told, dict):
            raise TypeError("told")
        return Outcome(
            kind=body["kind"],
            error=str(body.get("error", "")),
            trace=str(body.get("trace", "")),
            digest=str(body.get("digest", "")),
            sets=tuple(
                SetTold(**{name: str(one[name]) for name in ("id", "kind", "verdict", "digest")})
                for one in body.get("sets", ())
            ),
            told=told,
            written=int(body.get("written", 0)),
            removed=int(body.get("removed", 0)),
            notes=tuple(str(note) for note in body.get("notes", ())),
            memory_mb=float(body.get("memory_mb", 0.0)),
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        return Outcome(kind="failed", error=f"the child's answer makes no sense ({error!r})")


def digest_of(value: Any) -> str:
    """A digest of a plain JSON value that is the same before and after it was written."""
    text = json.dumps(value, sort_keys=True, separators=(",", ":"))
    return blake2b(text.encode("ascii"), digest_size=16).hexdigest()


def set_digest(root: str, one: Mapping[str, Any]) -> str:
    """The digest of a set as manifests have it, on the card at ``root``."""
    return digest_of({"root": root, "set": one})


def card_digest(card: Mapping[str, Any]) -> str:
    """The digest of a ``card.json``: of what was found, not of when and under what settings."""
    return digest_of({key: card[key] for key in card if key not in ("made", "settings")})
