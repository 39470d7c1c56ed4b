from __future__ import annotations

from seamtell.models.verdict import Verdict


def test_verdicts_are_ordered_from_accept_over_review_to_reject() -> None:
    assert sorted(Verdict) == [Verdict.ACCEPT, Verdict.REVIEW, Verdict.REJECT]


def test_files_show_verdicts_in_lower_case() -> None:
    assert [v.text for v in Verdict] == ["accept", "review", "reject"]
