from __future__ import annotations

import pytest

from seamtell.pipeline.files.export_text import spreadsheet_safe


# The starting characters are those of the OWASP page on CSV injection (from memory).
@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", "\r=", "\n=", " ="])
def test_a_cell_that_begins_like_a_formula_becomes_text(start):
    assert spreadsheet_safe(start + "1+1").startswith("'")


def test_plain_text_stays_as_it_is():
    assert spreadsheet_safe("Naht 7 <b>") == "Naht 7 <b>"


def test_control_characters_become_spaces():
    assert spreadsheet_safe("a\nb\x00c") == "a b c"
