"""Entries of the log: canonical JSON, digests, and the lines that older versions wrote."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seamtell.pipeline.errors import Refused
from seamtell.pipeline.sign_off.approval_log import append_entry, approved_model, read_log
from seamtell.pipeline.sign_off.log_entry import Action, Deviation, LogEntry, SignOff, canonical_json_bytes
from seamtell.pipeline.workspace import Workspace


def hand_made(document: dict[str, object]) -> str:
    """Canonical JSON as schema 1 wrote it: the standard library alone."""
    return json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def schema_1_line(
    seq: int, previous: str, by: str = "R. Tern", model_id: str = "m-0001", day: int = 1
) -> str:
    """A line as the first version of the log wrote it."""
    entry: dict[str, object] = {
        "action": "approve",
        "by": by,
        "criteria_digest": "c" * 64,
        "evaluation_digest": "e" * 64,
        "limits_digest": "l" * 64,
        "model_digest": "d" * 64,
        "model_id": model_id,
        "previous": previous,
        "reason": "meets the criteria",
        "schema_version": 1,
        "sections_digest": "s" * 64,
        "seq": seq,
        "software_version": "0.1.0",
        "time": f"2026-05-{day:02d}T03:02:01Z",
    }
    entry["digest"] = hashlib.sha256(hand_made(entry).encode("utf-8")).hexdigest()
    return hand_made(entry)


def schema_1_log(ws: Workspace, *people: str) -> None:
    previous, lines = "0" * 64, []
    for seq, by in enumerate(people, start=1):
        lines.append(schema_1_line(seq, previous, by, f"m-{seq:04d}", day=len(people) - seq + 1))
        previous = json.loads(lines[-1])["digest"]
    ws.log_path.write_text("".join(line + "\n" for line in lines), "utf-8")


def sign_off(**changes: object) -> SignOff:
    fields: dict[str, object] = {
        "action": Action.APPROVE,
        "time": datetime(2026, 6, 1, tzinfo=UTC),
        "by": "R. Tern",
        "reason": "newer",
        "model_id": "m-0009",
        "model_digest": "d",
        "sections_digest": "s",
        "limits_digest": "l",
        "criteria_digest": "c",
        "evaluation_digest": "e",
        "software_version": "0",
    }
    return SignOff.model_validate({**fields, **changes})


def test_keys_sort_as_in_the_example_of_rfc_8785() -> None:
    # RFC 8785, section 3.2.3: sorted by UTF-16 code units, so the emoji comes before U+FB33.
    names = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    written = json.loads(canonical_json_bytes(names), object_pairs_hook=list)
    assert [value for _, value in written] == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


_KEYS = st.text(st.characters(min_codepoint=97, max_codepoint=122), min_size=1, max_size=8)
_TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
_VALUES = st.one_of(_TEXTS, st.integers(-(2**53) + 1, 2**53 - 1), st.booleans(), st.none())


@settings(max_examples=150, deadline=None)
@given(document=st.dictionaries(_KEYS, _VALUES, max_size=6))
def test_what_a_log_holds_is_written_as_schema_1_wrote_it(document: dict[str, object]) -> None:
    assert canonical_json_bytes(document) == hand_made(document).encode("utf-8")


@pytest.mark.parametrize("by", ["R. Tern", "Ærø Ñandú", "李雷", 'a "quoted" \\ name', "🔧"])
def test_a_log_of_schema_1_is_still_whole(tmp_path: Path, by: str) -> None:
    ws = Workspace(tmp_path)
    schema_1_log(ws, by, "A. Knot")
    first, second = read_log(ws)
    assert (first.schema_version, first.by, second.seq) == (1, by, 2)
    assert approved_model(ws).model_id == "m-0002"


def test_a_new_entry_goes_on_from_a_log_of_schema_1(tmp_path: Path) -> None:
    ws = Workspace(tmp_path)
    schema_1_log(ws, "R. Tern")
    append_entry(ws, sign_off())
    before, after = read_log(ws)
    assert (after.schema_version, after.previous) == (2, before.digest)


def test_an_altered_line_of_schema_1_is_noticed(tmp_path: Path) -> None:
    ws = Workspace(tmp_path)
    schema_1_log(ws, "R. Tern", "A. Knot")
    ws.log_path.write_text(ws.log_path.read_text().replace("A. Knot", "A. Rook"))
    with pytest.raises(Refused, match=r"line 2.*altered"):
        read_log(ws)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"by":', '"by": '),
        ('"seq":1', '"seq":1.0'),
        ("03:02:01Z", "03:02:01+00:00"),
        ('"action"', '"\\u0061ction"'),
    ],
)
def test_the_same_content_written_otherwise_is_noticed(tmp_path: Path, old: str, new: str) -> None:
    ws = Workspace(tmp_path)
    schema_1_log(ws, "R. Tern")
    text = ws.log_path.read_text()
    assert old in text
    ws.log_path.write_text(text.replace(old, new, 1))
    with pytest.raises(Refused, match="approval log"):
        read_log(ws)


def test_a_field_of_schema_2_cannot_be_slipped_into_a_line_of_schema_1(tmp_path: Path) -> None:
    ws = Workspace(tmp_path)
    schema_1_log(ws, "R. Tern")
    entry = json.loads(ws.log_path.read_text())
    entry["earlier_clock"] = True
    ws.log_path.write_text(hand_made(entry) + "\n")
    with pytest.raises(Refused, match="altered"):
        read_log(ws)


def test_a_signature_does_not_sign_itself_and_the_digest_covers_it() -> None:
    entry = LogEntry(**dict(sign_off()), seq=1, previous="0" * 64, digest="")
    signed = LogEntry.model_validate({**entry.model_dump(), "signature": {"key": "k", "value": "v"}})
    assert signed.content_digest() == entry.content_digest()
    assert signed.computed_digest() != entry.computed_digest()


def test_a_deviation_holds_through_its_last_day_of_utc() -> None:
    deviation = Deviation(failed=("a", "b"), justification="why", expires=date(2026, 12, 31))
    assert deviation.ends_at == datetime(2027, 1, 1, tzinfo=UTC)
    assert "a, b" in deviation.sentence
