"""One line of the approval log: what is signed, and the digest that seals it.

An entry is written as the canonical JSON of RFC 8785, so that anybody can recompute
its digests with a JSON library and SHA-256. Schema 1 had fewer fields; its lines are
read as they were written and keep their digests.

References
----------
RFC 8785, JSON Canonicalization Scheme (2020).
"""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from typing import Any, Literal

import rfc8785
from pydantic import BaseModel, ConfigDict, Field

__all__ = [
    "FIRST_PREVIOUS",
    "Action",
    "Deviation",
    "EntrySignature",
    "LogEntry",
    "SignOff",
    "canonical_json_bytes",
]

FIRST_PREVIOUS = "0" * 64
"""What the first entry names as the digest before it."""

_SCHEMA_1_FIELDS = frozenset(
    {
        "action",
        "by",
        "criteria_digest",
        "digest",
        "evaluation_digest",
        "limits_digest",
        "model_digest",
        "model_id",
        "previous",
        "reason",
        "schema_version",
        "sections_digest",
        "seq",
        "software_version",
        "time",
    }
)


class Action(StrEnum):
    """What an entry does."""

    APPROVE = "approve"
    WITHDRAW = "withdraw"
    REINSTATE = "reinstate"

    @property
    def puts_to_work(self) -> bool:
        """Whether the model labels production from this entry on."""
        return self is not Action.WITHDRAW


class _Frozen(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Deviation(_Frozen):
    """An approval against failed criteria: which, why all the same, and until when."""

    failed: tuple[str, ...] = Field(min_length=1)
    """Ids of the criteria that failed."""
    justification: str
    expires: date
    """Last day (UTC) on which the approval holds."""

    @property
    def ends_at(self) -> datetime:
        """First moment at which the approval no longer holds."""
        return datetime.combine(self.expires + timedelta(days=1), time(), tzinfo=UTC)

    @property
    def sentence(self) -> str:
        """The deviation as every report states it."""
        return (
            f"approved by deviation until {self.expires:%Y-%m-%d} although criteria failed "
            f"({', '.join(self.failed)}): {self.justification}"
        )


class EntrySignature(_Frozen):
    """An Ed25519 signature (RFC 8032) of an entry."""

    key: str
    """SHA-256 of the 32 bytes of the public key."""
    value: str
    """The signature of the entry's content digest, in base64."""


class SignOff(_Frozen):
    """What a named person signs: the action and the digests of all that it rests on."""

    action: Action
    time: datetime
    by: str
    reason: str
    model_id: str
    model_digest: str
    sections_digest: str
    limits_digest: str
    criteria_digest: str
    evaluation_digest: str
    software_version: str
    traces_digest: str = ""
    """Of the traces of all seams that were sectioned."""
    settings_digest: str = ""
    """Of the settings that shape an evaluation."""
    environment: dict[str, str] = {}
    """Versions of the libraries whose numbers it rests on, by name."""
    environment_digest: str = ""
    """SHA-256 over the canonical JSON of `environment`."""
    evidence: dict[str, str] = {}
    """Name of each file that was signed to the SHA-256 of its bytes; a copy of each is kept."""
    deviation: Deviation | None = None
    restores: int | None = None
    """Number of the entry whose approval a *reinstate* brings back."""
    earlier_clock: bool = False
    """The person said that an entry before this one had a wrong, later clock."""


class LogEntry(SignOff):
    """One line of the log: a sign-off in its place of the chain."""

    schema_version: Literal[1, 2] = 2
    seq: int = Field(ge=1)
    previous: str
    signature: EntrySignature | None = None
    digest: str

    def document(self) -> dict[str, Any]:
        """The entry as it stands in the file."""
        fields = self.model_dump(mode="json")
        if self.schema_version == 1:
            fields = {name: value for name, value in fields.items() if name in _SCHEMA_1_FIELDS}
        return fields

    def content_digest(self) -> str:
        """SHA-256 over the canonical JSON of everything but signature and digest: what a key signs."""
        return self._digest_without("signature", "digest")

    def computed_digest(self) -> str:
        """SHA-256 over the canonical JSON of everything but the digest itself."""
        return self._digest_without("digest")

    def _digest_without(self, *left_out: str) -> str:
        kept = {name: value for name, value in self.document().items() if name not in left_out}
        return hashlib.sha256(canonical_json_bytes(kept)).hexdigest()


def canonical_json_bytes(document: dict[str, Any]) -> bytes:
    """Bytes of `document` by RFC 8785.

    Examples
    --------
    >>> canonical_json_bytes({"b": 1, "a": "é"}).decode()
    '{"a":"é","b":1}'
    """
    return rfc8785.dumps(document)
