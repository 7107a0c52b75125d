"""Check characters against worked examples that somebody else published."""

from __future__ import annotations

import pytest

from harness.values.check_digits import CHECKSUMS, CODE_39, mod_10, mod_43, mod_97

# Luhn, US patent 2,950,048, as ISO/IEC 7812-1 annex B has it; the number is the usual worked example of it.
LUHN = "79927398713"
# Code 39 (ISO/IEC 16388), examples worked out in manuals of scanners: sum 108, remainder 22; sum 62, remainder 19.
MOD_43 = ("123XYZM", "258-416J")
# ISO 7064, MOD 97-10: its own example 794 with 44; an example account of the registry of ISO 13616 and that of a
# creditor reference of ISO 11649, both with country or kind and check digits moved behind the rest, as those demand.
MOD_97 = ("79444", "370400440532013000DE89", "539007547034RF18")


def test_published_examples_are_taken():
    assert mod_10(LUHN)
    assert all(map(mod_43, MOD_43))
    assert all(map(mod_97, MOD_97))


def test_code_39_has_the_published_values():
    assert len(CODE_39) == 43
    # From the table of ISO/IEC 16388.
    assert {c: CODE_39.index(c) for c in "0AMZ-. $/+%"} == {
        "0": 0, "A": 10, "M": 22, "Z": 35, "-": 36, ".": 37, " ": 38, "$": 39, "/": 40, "+": 41, "%": 42
    }  # fmt: skip


@pytest.mark.parametrize(
    ("check", "text", "characters"),
    [(mod_10, LUHN, "0123456789"), (mod_43, MOD_43[0], CODE_39), (mod_97, MOD_97[1], "0123456789")],
)
def test_every_single_misread_character_is_found(check, text, characters):
    """What all three promise (ISO 7064 for MOD 97-10; a doubled digit of Luhn maps one to one; a sum modulo 43)."""
    for position, right in enumerate(text):
        for wrong in characters:
            if wrong != right:
                assert not check(text[:position] + wrong + text[position + 1 :])


def test_exchanged_neighbours():
    """Luhn finds all but 09 and 90, MOD 97-10 all (published); a plain sum modulo 43 none but with the last."""
    swapped = [LUHN[:i] + LUHN[i + 1] + LUHN[i] + LUHN[i + 2 :] for i in range(len(LUHN) - 1) if LUHN[i] != LUHN[i + 1]]
    assert not any(map(mod_10, swapped))
    # 09 and 90 weigh alike: 0 + 9 doubled is 9, 9 + 0 doubled is 9.
    assert mod_10("091") == mod_10("901")
    assert not mod_97("97444")
    assert mod_43("213XYZM")


@pytest.mark.parametrize("name", [name for name in CHECKSUMS if name != "none"])
@pytest.mark.parametrize("text", ["", "1", "a1", "12\n", "٣٤٥", "１２３", "--"])
def test_a_text_of_other_characters_has_no_checksum(name, text):
    assert CHECKSUMS[name](text) is False or (name, text) == ("mod-43", "--")
